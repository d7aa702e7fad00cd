# Ranks of values of which some lie below limits, for lognormal.Plot: the formula of
# Michael and Schucany written out here once more, held to survival's product-limit
# estimate where its constant is 1, and to ppoints where all values are known. The
# values are invented. Prints JSON: Rscript lognormal-plot.R > lognormal-plot.json
suppressMessages({library(jsonlite); library(survival)})

ranks <- function(x, below, c) {
  o <- order(-x, below)
  n <- length(x); p <- rep(NA, n); left <- (n - c + 1) / (n - 2 * c + 1)
  for (i in seq_len(n)) if (!below[o[i]]) {
    left <- left * (n - i - c + 1) / (n - i - c + 2)
    p[o[i]] <- left
  }
  p
}
cases <- list()
add <- function(name, x, below) {
  c <- 0.3175
  p <- ranks(x, below, c)
  n <- length(x)
  if (!any(below)) stopifnot(all.equal(sort(p), ppoints(n, a = c)))
  # From below: survival of -x, with limits as censored times. At c = 1 the rank is
  # the share below and not at the value, times n/(n-1).
  s <- survfit(Surv(100000 - x, !below) ~ 1)
  at <- summary(s, times = 100000 - x[!below], extend = TRUE)
  after <- sapply(x[!below], function(v) s$surv[max(which(s$time <= 100000 - v + 1e-9))])
  if (!anyDuplicated(x[!below])) stopifnot(all.equal(after * n / (n - 1), ranks(x, below, 1)[!below]))
  o <- order(x[!below])
  cases[[length(cases) + 1]] <<- list(name = name, input = list(x = x, below = below), want = as.list(setNames(p[!below][o], paste0("p", seq_along(o)))), rel = 1e-9)
}
set.seed(5, kind = "Mersenne-Twister", normal.kind = "Inversion")
add("all known", c(12, 90, 33, 210, 61), rep(FALSE, 5))
add("one limit, under all others", c(20, 20, 31, 45, 130, 300), c(TRUE, TRUE, FALSE, FALSE, FALSE, FALSE))
add("limits among the values, one as high as a value", c(10, 25, 25, 40, 8, 70, 33, 100), c(TRUE, FALSE, TRUE, TRUE, FALSE, FALSE, FALSE, FALSE))
x <- round(rlnorm(30, 4, 0.9), 1); below <- runif(30) < 0.4
add("30, four in ten below limits of their own", x, below)
toJSON(list(source = "Michael and Schucany 1986, in D'Agostino and Stephens, Goodness-of-Fit Techniques, section 11.2 (from memory), by a second program",
  made_by = "testdata/reference/lognormal-plot.R", with = paste(R.version.string, "survival", packageVersion("survival")), cases = cases), auto_unbox = TRUE, digits = NA, pretty = TRUE)
