# Where a log-normal distribution begins, by its profile likelihood as it is defined:
# base R's optimize and uniroot on the threshold itself; and by modified moments, the
# three equations as they stand, by uniroot on the threshold. The made sets are invented.
# Prints JSON: Rscript lognormal-threshold.R > lognormal-threshold.json
suppressMessages(library(jsonlite))

profile <- function(excess) {
  y <- log(excess); s <- sqrt(mean((y - mean(y))^2))
  sum(dlnorm(excess, mean(y), s, log = TRUE))
}
moments <- function(x) {
  n <- length(x); x1 <- min(x); m <- mean(x); s <- sd(x)
  k <- -integrate(function(z) z * n * dnorm(z) * pnorm(z)^(n - 1), -10, 15, rel.tol = 1e-12, subdivisions = 1000)$value
  # Mean and variance give the logs' moments at a threshold g; the least value has to agree.
  sigma <- function(g) sqrt(log1p((s / (m - g))^2)); mu <- function(g) log(m - g) - sigma(g)^2 / 2
  off <- function(t) { g <- x1 - exp(t); log(x1 - g) - mu(g) - k * sigma(g) }
  g <- x1 - exp(uniroot(off, log(s) + c(-20, 5), tol = 1e-14)$root)
  c(threshold = g, meanlog = mu(g), sdlog = sigma(g))
}
case <- function(name, x, rel = 1e-6) {
  n <- length(x); x1 <- min(x)
  # The likelihood on a grid of distances below the least value, its peak and its dip.
  t <- seq(log(diff(range(x))) - 20, log(diff(range(x))) + 6, by = 0.02)
  f <- function(t) profile(x - x1 + exp(t))
  l <- sapply(t, f)
  peak <- which(diff(sign(diff(l))) == -2) + 1
  peak <- peak[which.max(l[peak])]
  best <- optimize(f, t[peak] + c(-.05, .05), maximum = TRUE, tol = 1e-13)$maximum
  dip <- max(1, which(diff(sign(diff(l))) == 2 & seq_along(l)[-c(1, 2)] < peak) + 1)
  drop <- function(t) 2 * (f(best) - f(t)) - qchisq(.95, 1)
  upper <- if (drop(t[dip]) > 0) x1 - exp(uniroot(drop, c(t[dip], best), tol = 1e-13)$root) else x1
  lower <- x1 - exp(uniroot(drop, c(best, max(t)), tol = 1e-13)$root)
  g <- x1 - exp(best); y <- log(x - g); mm <- moments(x)
  list(name = paste("threshold:", name), input = list(x = x), rel = rel, want = list(
    threshold = g, lower = lower, upper = upper, meanlog = mean(y), sdlog = sqrt(mean((y - mean(y))^2)),
    loglik = f(best), without = profile(x),
    moments_threshold = mm[["threshold"]], moments_meanlog = mm[["meanlog"]], moments_sdlog = mm[["sdlog"]]))
}
set.seed(60, kind = "Mersenne-Twister", normal.kind = "Inversion")
cases <- list(
  case("made, 60, from 20 on", round(20 + rlnorm(60, 4, 0.9), 2)),
  case("made, 200, from 8 on", round(8 + rlnorm(200, 3.5, 1.1), 2)),
  case("chromium, USEPA 1992", c(10, 13, 20, 36, 41, 59, 67, 110, 110, 136, 140, 160, 200, 230, 1300)))
cat(toJSON(list(
  source = "the profile likelihood of a three-parameter log-normal distribution, by base R's optimize and uniroot, and its modified moments",
  made_by = "testdata/reference/lognormal-threshold.R", with = R.version.string, cases = cases), auto_unbox = TRUE, digits = NA), "\n")
