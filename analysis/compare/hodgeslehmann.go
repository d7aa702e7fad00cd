package compare

import (
	"fmt"
	"math"
	"slices"

	"radonyear/analysis"
	"radonyear/analysis/internal/numeric"
)

// HodgesLehmannMethod and ShiftMethod are keys in the list of methods.
const (
	HodgesLehmannMethod = "hodges-lehmann"
	ShiftMethod         = "hodges-lehmann-shift"
)

// exactRanks is up to how many homes the distribution of ranks is counted out; from
// there on it is normal to well under a rank in a thousand.
const exactRanks = 50

// hodgesLehmann estimates the middle of the homes' ratios, which no single odd home
// can move: the median of a symmetric distribution of log ratios.
//
// Formula. e to the median of the n(n+1)/2 averages (yᵢ + yⱼ)/2, i ≤ j, of log
// ratios; limits are the c-th smallest of them and the c-th largest, c being the
// largest whole number with P(W ≤ c − 1) ≤ α/2, or 1, where W is Wilcoxon's sum of
// signed ranks: counted out up to 50 homes, normal beyond.
//
// Assumes independent homes whose log ratios scatter symmetrically, and nothing more
// of their distribution. Ties, as rounding makes them, only make the interval hold
// more often.
//
// Interval: confidence, never below what is asked for; up to five homes cannot reach
// 95 %, and then the widest there is stands with a note of what it holds. Of the
// geometric mean ratio it holds 88 % at worst where homes are exponential, since that is
// not their middle.
//
// Notes: few-homes, unbounded.
//
// Source: Hodges and Lehmann 1963, Ann. Math. Stat. 34:598; Hollander and Wolfe 1999,
// Nonparametric Statistical Methods, chapters 3 and 4, here 3.2 and 3.3 (both from
// memory).
func hodgesLehmann(logs []float64, confidence float64) (limits, []analysis.Note) {
	x := slices.Sorted(slices.Values(logs))
	n := len(x)
	count := func(t float64) int { return walshUpTo(x, t) }
	c, held := rankLimit(n*(n+1)/2, (1-confidence)/2, func() []float64 { return signedRanks(n) }, n <= exactRanks,
		math.Sqrt(float64(n)*float64(n+1)*float64(2*n+1)/24))
	return middle(count, n*(n+1)/2, c, x[0], x[n-1]), fewHomes(held, confidence, fmt.Sprintf("%d homes", n))
}

// hodgesLehmannShift estimates by what factor the homes of one group lie above those
// of another in the middle, which no single odd home can move.
//
// Formula. e to the median of the m·n differences xᵢ − yⱼ of logarithms; limits are
// the c-th smallest of them and the c-th largest, c being the largest whole number
// with P(U ≤ c − 1) ≤ α/2, or 1, where U is Mann and Whitney's count: counted out up
// to 50 homes in each group, normal beyond.
//
// Assumes independent homes, and that the logarithms of the two groups are
// distributed alike but for a shift, whatever that distribution is.
//
// Interval: confidence, never below what is asked for; two groups of three cannot
// reach 95 %, and then the widest there is stands with a note of what it holds. Groups
// of unlike spread and size are no shift, and then 93 to 97 % hold.
//
// Notes: few-homes, unbounded.
//
// Source: Hodges and Lehmann 1963, Ann. Math. Stat. 34:598; Hollander and Wolfe 1999,
// Nonparametric Statistical Methods, chapters 3 and 4, here 4.2 and 4.3 (both from
// memory).
func hodgesLehmannShift(logX, logY []float64, confidence float64) (limits, []analysis.Note) {
	x, y := slices.Sorted(slices.Values(logX)), slices.Sorted(slices.Values(logY))
	m, n := len(x), len(y)
	count := func(t float64) int { return differencesUpTo(x, y, t) }
	c, held := rankLimit(m*n, (1-confidence)/2, func() []float64 { return rankSums(m, n) }, m <= exactRanks && n <= exactRanks,
		math.Sqrt(float64(m)*float64(n)*float64(m+n+1)/12))
	return middle(count, m*n, c, x[0]-y[n-1], x[m-1]-y[0]), fewHomes(held, confidence, fmt.Sprintf("groups of %d and %d homes", m, n))
}

func fewHomes(held, confidence float64, homes string) []analysis.Note {
	if held >= confidence*(1-1e-12) {
		return nil
	}
	return []analysis.Note{{Code: "few-homes", Text: fmt.Sprintf("%s cannot give an interval by ranks at %.6g %%; the widest there is, from the least to the most, holds %.4g %%: add homes or ask for less", homes, 100*confidence, 100*held)}}
}

// middle is the median of count's so many values between least and most, and the
// c-th from either end.
func middle(count func(float64) int, values, c int, least, most float64) limits {
	at := func(k int) float64 { return kth(count, k, least, most) }
	mid := at((values + 1) / 2)
	if values%2 == 0 {
		mid = (mid + at(values/2+1)) / 2
	}
	return limits{mid, at(c), at(values + 1 - c)}
}

// rankLimit is how many values to count in from either end, at least one and not
// past the middle, so that each tail has at most the share asked for; and the
// confidence that gives. A rank statistic on 0 to values has the distribution
// function cdf() where it is to be exact, and otherwise is normal with standard
// deviation sd.
func rankLimit(values int, tail float64, cdf func() []float64, exact bool, sd float64) (c int, held float64) {
	if !exact {
		c = int(math.Floor(float64(values)/2 + sd*numeric.NormalQuantile(tail) + 0.5))
		c = max(1, min(c, (values+1)/2))
		return c, 1 - 2*tail // more than 50 homes reach whatever may be asked for
	}
	below := cdf()
	c = 1
	for c < (values+1)/2 && below[c] <= tail*(1+1e-12) {
		c++
	}
	return c, 1 - 2*below[c-1]
}

// signedRanks is P(W ≤ w) for w = 0 to n(n+1)/2, W being the sum of those of the ranks
// 1 to n whose sign, by a fair coin, is positive.
func signedRanks(n int) []float64 {
	p := make([]float64, n*(n+1)/2+1)
	p[0] = 1
	most := 0
	for rank := 1; rank <= n; rank++ {
		most += rank
		for w := most; w >= 0; w-- {
			p[w] /= 2
			if w >= rank {
				p[w] += p[w-rank] / 2
			}
		}
	}
	return summed(p)
}

// rankSums is P(U ≤ u) for u = 0 to m·n, U being how many of the m·n pairs of values x
// and y have x above y where all orders of the m + n values are alike. The largest
// value is an x with probability m/(m+n), and then it is above n values y.
func rankSums(m, n int) []float64 {
	row := make([][]float64, n+1) // for i values x, by the number of values y
	for j := range row {
		row[j] = []float64{1}
	}
	for i := 1; i <= m; i++ {
		for j := 1; j <= n; j++ { // row[j] still is of i−1 values x, row[j−1] of i
			p := make([]float64, i*j+1)
			for u, q := range row[j] {
				p[u+j] += q * float64(i) / float64(i+j)
			}
			for u, q := range row[j-1] {
				p[u] += q * float64(j) / float64(i+j)
			}
			row[j] = p
		}
	}
	return summed(row[n])
}

func summed(p []float64) []float64 {
	for i := 1; i < len(p); i++ {
		p[i] += p[i-1]
	}
	return p
}

// walshUpTo is how many averages of two of the ascending x, each with itself too, are
// at most t.
func walshUpTo(x []float64, t float64) int {
	count, j := 0, len(x)-1
	for i := range x {
		for j >= i && x[i]/2+x[j]/2 > t {
			j--
		}
		if j < i {
			break
		}
		count += j - i + 1
	}
	return count
}

// differencesUpTo is how many differences of one of the ascending x and one of the
// ascending y are at most t.
func differencesUpTo(x, y []float64, t float64) int {
	count, j := 0, 0
	for _, v := range x {
		for j < len(y) && v-y[j] > t {
			j++
		}
		count += len(y) - j
	}
	return count
}

// kth is the k-th smallest of many values that are counted, not listed: the least
// number up to which there are k. It halves the numbers between least and most in
// their order, so it ends within 64 steps at one of the values.
func kth(count func(float64) int, k int, least, most float64) float64 {
	lo, hi := inOrder(least), inOrder(most)
	for lo < hi {
		mid := lo + int64(uint64(hi-lo)/2)
		if count(fromOrder(mid)) >= k {
			hi = mid
		} else {
			lo = mid + 1
		}
	}
	return fromOrder(lo)
}

// inOrder numbers the floats so that a larger one has the larger number; fromOrder
// is its inverse.
func inOrder(x float64) int64 {
	b := int64(math.Float64bits(x))
	if b < 0 {
		b ^= math.MaxInt64
	}
	return b
}

func fromOrder(b int64) float64 {
	if b < 0 {
		b ^= math.MaxInt64
	}
	return math.Float64frombits(uint64(b))
}
