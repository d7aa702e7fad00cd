# One series through a switch, by R: nlme's gls by restricted likelihood with corAR1,
# with corCAR1 where days are missing, and with corExp and a nugget; arima's ARMA(1,1)
# and AR(1) with a step, at whose likelihood's top ours must be as high; the same
# likelihoods as dense normals, of a step on every day of a short record; the Nile.
# The series are invented, but for the Nile, which R carries.
# Prints JSON: Rscript compare-series.R > compare-series.json
suppressMessages({library(jsonlite); library(nlme)})
set.seed(11, kind = "Mersenne-Twister", normal.kind = "Inversion")

cases <- list()
add <- function(name, input, want, rel) cases[[length(cases) + 1]] <<- list(name = name, input = input, want = as.list(want), rel = rel)

wander <- function(t, phi, noise) {
  x <- numeric(length(t)); x[1] <- rnorm(1)
  for (i in seq_along(t)[-1]) { f <- phi^(t[i] - t[i - 1]); x[i] <- f * x[i - 1] + sqrt(1 - f^2) * rnorm(1) }
  sqrt(1 - noise) * x + sqrt(noise) * rnorm(length(t))
}
made <- function(t, on, phi, noise) {
  temp <- round(8 + 6 * wander(t, 0.8, 0), 1)
  data.frame(t, on, temp, y = round(300 * exp(-1.4 * on - 0.02 * (temp - 8) + 0.4 * wander(t, phi, noise)), 1))
}
control <- glsControl(tolerance = 1e-12, msTol = 1e-14, maxIter = 500, msMaxIter = 500)
input <- function(d) list(day = d$t, on = as.logical(d$on), mean = d$y, temperature = d$temp)
wanted <- function(g, phi, noise = 0) c(step = unname(coef(g)["on"]), se = sqrt(g$varBeta["on", "on"]), phi = phi, noise = noise, spread = g$sigma,
  temperature = unname(coef(g)["I(temp - mean(temp))"]))
formula <- log(y) ~ on + I(temp - mean(temp))

t <- 0:119; d <- made(t, as.numeric(t >= 60), 0.6, 0)
g <- gls(formula, d, corAR1(0.5, form = ~t), method = "REML", control = control)
add("no noise: gls corAR1, 120 days", input(d), wanted(g, unname(coef(g$modelStruct$corStruct, unconstrained = FALSE))), 1e-4)
t <- sort(sample(0:179, 110)); d <- made(t, as.numeric(t >= 70), 0.7, 0)
g <- gls(formula, d, corCAR1(0.5, form = ~t), method = "REML", control = control)
add("no noise: gls corCAR1, 110 of 180 days", input(d), wanted(g, unname(coef(g$modelStruct$corStruct, unconstrained = FALSE))), 1e-4)
t <- sort(sample(0:239, 200)); d <- made(t, as.numeric(t >= 110), 0.8, 0.4)
g <- gls(formula, d, corExp(c(4, 0.4), form = ~t, nugget = TRUE), method = "REML", control = control)
p <- coef(g$modelStruct$corStruct, unconstrained = FALSE)
add("with noise: gls corExp and a nugget, 200 of 240 days", input(d), wanted(g, exp(-1 / unname(p[1])), unname(p[2])), 5e-3)

# arima is by likelihood and not by restricted likelihood, so it is told the share of
# noise and the correlation, and gives the step for them: of x + e, x an AR(1) with phi
# and e noise of the share s, autocovariances are (1 - s)phi^k, and so it is an ARMA(1,1)
# with theta from the first autocorrelation of y_t - phi y_(t-1).
t <- 0:99; d <- made(t, as.numeric(t >= 40), 0.7, 0.3)
at <- function(name, phi, s) {
  c0 <- 1 + phi^2 - 2 * phi * (1 - s) * phi; c1 <- (1 - s) * phi * (1 + phi^2) - phi - (1 - s) * phi^3
  r <- c1 / c0
  theta <- if (abs(r) < 1e-12) 0 else (1 - sqrt(1 - 4 * r^2)) / (2 * r)
  x <- cbind(on = d$on, temp = d$temp - mean(d$temp))
  a <- arima(log(d$y), c(1, 0, 1), xreg = x, fixed = c(phi, theta, NA, NA, NA), transform.pars = FALSE, method = "ML", optim.control = list(reltol = 1e-16, maxit = 5000))
  add(name, c(input(d), list(phi = phi, share = s)), c(step = unname(coef(a)["on"]), temperature = unname(coef(a)["temp"]), se = sqrt(a$var.coef["on", "on"] * 100 / 97)), 2e-4)
}
at("arima: AR(1) with phi 0.7", 0.7, 0)
at("arima: ARMA(1,1) that is phi 0.8 with noise 0.25", 0.8, 0.25)

# A step on each day, as a dense normal: the log of what its likelihood is times that of
# no step, over the same errors.
dense <- function(y, t, phi, s, shares, spreads) {
  n <- length(y); V <- (1 - s) * phi^abs(outer(t, t, "-")) + s * diag(n); W <- solve(V); one <- rep(1, n)
  P <- W - W %*% one %*% t(one) %*% W / sum(W)
  syy <- drop(y %*% P %*% y)
  sapply(8:(n - 6), function(c) {
    terms <- sapply(shares, function(u) { x <- as.numeric(seq_len(n) >= c); x[c - 1] <- u
      sss <- drop(x %*% P %*% x); ssy <- drop(x %*% P %*% y)
      -log1p(spreads * sss) / 2 - (n - 1) / 2 * log((syy - ssy^2 / (sss + 1 / spreads)) / syy) })
    log(mean(exp(terms)))
  })
}
t <- sort(sample(0:39, 30)); y <- round(200 * exp(-1.1 * (t >= 17) + 0.4 * wander(t, 0.6, 0.2)), 1)
add("change: dense, 30 of 40 days", list(day = t, mean = y, phi = 0.6, share = 0.2), setNames(dense(log(y), t, 0.6, 0.2, c(0, .25, .5, .75), c(1, 4, 16, 64)), paste0("day", t[8:24])), 1e-8)

# The Nile at Aswan 1871 to 1970, in which nothing is in doubt: after 1898. In R's data,
# the means are those of Cobb 1978 (Biometrika 65:243).
nile <- as.numeric(Nile); k <- 28
add("Nile", list(day = 1871:1970, mean = nile), c(first = 1899, before = mean(nile[1:k]), after = mean(nile[-(1:k)]), ratio = exp(mean(log(nile[-(1:k)])) - mean(log(nile[1:k])))), 2e-3)

cat(toJSON(list(source = "nlme::gls, restricted likelihood (Pinheiro and Bates 2000, Mixed-Effects Models in S and S-PLUS, section 5.3); stats::arima; the dense normal is the definition; datasets::Nile (Cobb 1978, Biometrika 65:243)",
  made_by = "testdata/reference/compare-series.R", with = paste0(R.version.string, ", nlme ", packageVersion("nlme")),
  cases = cases), auto_unbox = TRUE, digits = NA), "\n", sep = "")
