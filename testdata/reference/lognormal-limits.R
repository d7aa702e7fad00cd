# What R says where package analysis/lognormal has closed forms or counts: Student's
# interval of the logarithms (t.test), that of the next value and of the standard
# deviation by qt and qchisq, and Clopper and Pearson's limits (binom.test; of counts
# that are not whole, the beta quantiles that it stands for, each proved by pbeta).
# The made sets are invented.
# Prints JSON: Rscript lognormal-limits.R > lognormal-limits.json
suppressMessages(library(jsonlite))

cases <- list()
add <- function(name, input, want, rel) {
  cases[[length(cases) + 1]] <<- list(name = name, input = input, want = as.list(want), rel = rel)
}

limits <- function(name, x) {
  y <- log(x); n <- length(y); s <- sd(y)
  for (conf in c(0.5, 0.9, 0.95, if (n > 3) 0.999)) { # of three the last is given as open
    gm <- exp(t.test(y, conf.level = conf)$conf.int)
    gsd <- exp(s * sqrt((n - 1) / qchisq(c((1 + conf) / 2, (1 - conf) / 2), n - 1)))
    nxt <- exp(mean(y) + c(-1, 1) * qt((1 + conf) / 2, n - 1) * s * sqrt(1 + 1 / n))
    add(paste0("limits of logs: ", name, ", ", conf), list(x = x, confidence = conf),
      c(gm_lower = gm[1], gm = exp(mean(y)), gm_upper = gm[2], gsd_lower = gsd[1], gsd = exp(s), gsd_upper = gsd[2],
        next_lower = nxt[1], next_upper = nxt[2]), 1e-9)
  }
}
limits("chromium, USEPA 1992", c(10, 13, 20, 36, 41, 59, 67, 110, 110, 136, 140, 160, 200, 230, 1300))
limits("chrysene, USEPA 2009", c(19.7, 39.2, 7.8, 12.8, 10.2, 7.2, 16.1, 5.7))
limits("made, three", c(70, 90, 210))
set.seed(21, kind = "Mersenne-Twister", normal.kind = "Inversion")
limits("made, 60", round(rlnorm(60, 4, 0.8), 2))

counted <- function(x, n) for (conf in c(0.9, 0.95, 0.999, 0.999999, 1 - 1e-9)) {
  tail <- (1 - conf) / 2
  if (x == round(x) && n == round(n)) {
    got <- unclass(binom.test(x, n, conf.level = conf)$conf.int)[1:2]
  } else {
    got <- c(qbeta(tail, x, n - x + 1), qbeta(tail, x + 1, n - x, lower.tail = FALSE))
  }
  # R's own quantiles have to hold the tail they were asked for within 1e-8 of themselves.
  if (x > 0) stopifnot(pbeta(got[1] * (1 - 1e-8), x, n - x + 1) <= tail, pbeta(got[1] * (1 + 1e-8), x, n - x + 1) >= tail)
  if (x < n) stopifnot(pbeta(1 - (1 - got[2]) * (1 + 1e-8) - 1e-16, x + 1, n - x, lower.tail = FALSE) >= tail,
    pbeta(min(1, 1 - (1 - got[2]) * (1 - 1e-8) + 1e-16), x + 1, n - x, lower.tail = FALSE) <= tail)
  add(paste0("counted: ", x, " of ", n, ", ", format(conf, digits = 15)), list(above = x, of = n, confidence = conf), c(lower = got[1], upper = got[2]), 1e-8)
}
for (n in c(1, 20, 400, 30000, 1e6)) for (x in unique(c(0, 1, 2, round(n / 3), n - 1, n))) if (x >= 0 && x <= n) counted(x, n)
for (n in c(6.3, 88.8, 25000.5)) for (share in c(if (n > 1000) 0.001, 0.07, 0.5, 0.99)) counted(share * n, n)

cat(toJSON(list(
  source = "R's t.test, qt, qchisq, binom.test, qbeta and pbeta",
  made_by = "testdata/reference/lognormal-limits.R",
  with = R.version.string,
  cases = cases), auto_unbox = TRUE, digits = NA), "\n")
