# The mean of an autocorrelated series with noise: nlme's gls by restricted
# likelihood with an exponential correlation and a nugget, and the same likelihood
# written out as one dense normal in base R, to more digits. The series are invented.
# Prints JSON: Rscript serial.R > serial.json
suppressMessages({library(jsonlite); library(nlme)})
set.seed(7, kind = "Mersenne-Twister", normal.kind = "Inversion")

cases <- list()
add <- function(name, input, want, rel) cases[[length(cases) + 1]] <<- list(name = name, input = input, want = as.list(want), rel = rel)

made <- function(t, tau, noise) {
  x <- numeric(length(t)); x[1] <- rnorm(1)
  for (i in seq_along(t)[-1]) { f <- exp(-(t[i] - t[i - 1]) / tau); x[i] <- f * x[i - 1] + sqrt(1 - f^2) * rnorm(1) }
  round(100 + 20 * x + 20 * noise * rnorm(length(t)), 1)
}
dense <- function(y, t) {
  n <- length(y); lag <- abs(outer(t, t, "-"))
  parts <- function(p) {
    tau <- exp(p[1]); share <- plogis(p[2])
    U <- chol((1 - share) * exp(-lag / tau) + share * diag(n))
    a <- backsolve(U, y, transpose = TRUE); b <- backsolve(U, rep(1, n), transpose = TRUE)
    w <- sum(b^2); m <- sum(a * b) / w; v <- sum((a - m * b)^2) / (n - 1)
    list(m = m, v = v, w = w, l = -((n - 1) * log(v) + 2 * sum(log(diag(U))) + log(w)) / 2)
  }
  best <- NULL
  for (s in list(c(1, -2), c(2, 0), c(3, 1))) {
    o <- optim(s, function(p) -parts(p)$l, control = list(reltol = 1e-16, maxit = 5000))
    o <- optim(o$par, function(p) -parts(p)$l, control = list(reltol = 1e-16, maxit = 5000))
    if (is.null(best) || o$value < best$value) best <- o
  }
  c(parts(best$par), tau = exp(best$par[1]), share = plogis(best$par[2]))
}
series <- function(name, t, tau, noise) {
  y <- made(t, tau, noise)
  input <- list(t = t, y = y)
  g <- gls(y ~ 1, data = data.frame(y, t), correlation = corExp(c(tau, noise^2 / (1 + noise^2)), form = ~t, nugget = TRUE), method = "REML",
    control = glsControl(tolerance = 1e-10, msTol = 1e-12))
  p <- coef(g$modelStruct$corStruct, unconstrained = FALSE)
  add(paste("nlme:", name), input, c(mean = unname(coef(g)), se = sqrt(g$varBeta[1, 1]), tau = unname(p[1]), share = unname(p[2])), 2e-3)
  d <- dense(y, t)
  add(paste("dense:", name), input, c(mean = d$m, se = sqrt(d$v / d$w), tau = d$tau, share = d$share, variance = d$v, effective = d$w), 2e-4)
  add(paste("dense, mean:", name), input, c(mean = d$m), 1e-6)
  f <- function(p) { n <- length(y); lag <- abs(outer(t, t, "-")); V <- .75 * exp(-lag / 5) + .25 * diag(n); one <- rep(1, n)
    w <- sum(solve(V, one)); m <- sum(solve(V, y)) / w; v <- sum((y - m) * solve(V, y - m)) / (n - 1)
    c(mean = m, variance = v, weight = w, loglik = -((n - 1) * log(v) + determinant(V)$modulus[1] + log(w)) / 2) }
  add(paste("at tau 5 and share 0.25:", name), input, f(), 1e-10)
}
series("200 hours", 0:199, 6, 0.5)
series("150 hours with gaps", sort(sample(0:239, 150)), 8, 0.7)
series("90 days, every second twice as far", cumsum(rep(c(24, 48), 45)), 60, 0.3)

cat(toJSON(list(source = "nlme::gls, restricted likelihood with corExp and a nugget (Pinheiro and Bates 2000, Mixed-Effects Models in S and S-PLUS, section 5.3); the dense normal is its definition",
  made_by = "testdata/reference/serial.R", with = paste0(R.version.string, ", nlme ", packageVersion("nlme")),
  cases = cases), auto_unbox = TRUE, digits = NA), "\n", sep = "")
