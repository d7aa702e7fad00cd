# The lag-one autocorrelation by stats::acf, of series that R comes with, and of the same
# with days missing, which it takes as no pair of neighbours. The numbers of lh (Diggle
# 1990), Nile (Cobb 1978) and LakeHuron (Brockwell and Davis 1991) are R's own.
# Prints JSON: Rscript serial-lag-one.R > serial-lag-one.json
suppressMessages(library(jsonlite))

lag_one <- function(x) acf(x, lag.max = 1, plot = FALSE, na.action = na.pass)$acf[2]
case <- function(name, x, missing = c()) {
  x <- as.numeric(x); at <- seq_along(x)
  x[missing] <- NA
  known <- !is.na(x)
  list(name = name, input = list(at = at[known], y = x[known]), want = list(lag_one = lag_one(x)), rel = 1e-12)
}
cases <- list(
  case("lh", lh), case("Nile", Nile), case("LakeHuron", LakeHuron),
  case("Nile, every seventh year missing", Nile, seq(7, 100, 7)),
  case("LakeHuron, two gaps", LakeHuron, c(20:31, 70)),
  case("lh, two pairs left of every five", lh, seq(3, 48, 5)))
cat(toJSON(list(source = "stats::acf", made_by = "testdata/reference/serial-lag-one.R", with = R.version.string, cases = cases), auto_unbox = TRUE, digits = NA), "\n")
