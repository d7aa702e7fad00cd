package survey

// The methods' names, as in Estimate.Method.
const (
	AreaLikelihood = "area-likelihood"
	AreaPosterior  = "area-posterior"
	AreaRaw        = "area-raw"
)
