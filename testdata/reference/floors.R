# Ratios of floors: t.test and predict on logarithms, chi-squared limits of the spread, and the
# prediction from a test with an error of its own by convolving numerically. Data invented.
# Prints JSON: Rscript floors.R > floors.json
suppressMessages(library(jsonlite))
cases <- list()
floors <- function(name, from, to, conf, log, se) {
  d <- log(to / from); n <- length(d); s <- sd(d); t <- t.test(d, conf.level = conf)
  p <- predict(lm(d ~ 1), data.frame(row.names = 1), interval = "prediction", level = conf)
  k <- s * sqrt(1 + 1 / n)
  cdf <- function(h) if (se == 0) pt(h / k, n - 1) else
    integrate(function(e) dnorm(e, 0, se) * pt((h - e) / k, n - 1), -Inf, Inf, rel.tol = 1e-12, subdivisions = 5000)$value
  h <- uniroot(function(h) cdf(h) - (1 + conf) / 2, c(0, 400 * (k + se)), tol = 1e-12)$root
  cases[[length(cases) + 1]] <<- list(name = name, input = list(from = from, to = to, conf = conf, log = log, se = se),
    want = list(ratio = exp(unname(t$estimate)), lower = exp(t$conf.int[1]), upper = exp(t$conf.int[2]), spread = exp(s),
      spreadLower = exp(s * sqrt((n - 1) / qchisq((1 + conf) / 2, n - 1))), spreadUpper = exp(s * sqrt((n - 1) / qchisq((1 - conf) / 2, n - 1))),
      nextLower = exp(p[2]), nextUpper = exp(p[3]), mean = exp(log + mean(d)), meanLower = exp(log + mean(d) - h), meanUpper = exp(log + mean(d) + h)), rel = 1e-7)
}
b <- c(310, 145, 520, 88, 240, 410, 97, 660, 180, 230); l <- c(190, 60, 250, 61, 150, 200, 70, 300, 60, 171)
floors("ten homes", b, l, .95, log(240), .3)
floors("ten homes, a test without error", b, l, .95, log(240), 0)
floors("ten homes, 90 %, a poor test", b, l, .9, log(75), .9)
floors("four homes", b[1:4], l[1:4], .95, log(500), .25)
floors("three homes", b[c(2, 5, 9)], l[c(2, 5, 9)], .8, log(100), .5)
cat(toJSON(list(source = "t.test, predict.lm, qchisq, pt and integrate of R; the data are invented", made_by = "testdata/reference/floors.R", with = R.version.string, cases = cases),
  auto_unbox = TRUE, digits = NA), "\n", sep = "")
