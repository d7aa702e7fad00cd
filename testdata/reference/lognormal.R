# What other programs say where package analysis/lognormal answers: Shapiro and
# Wilk's W (base R), Anderson and Darling's A2 (nortest), censored fits (survival,
# fitdistrplus), and profile limits by base R's optimisers on the likelihood as it
# is defined. The made sets are invented.
# Prints JSON: Rscript lognormal.R > lognormal.json
suppressMessages({library(jsonlite); library(survival); library(fitdistrplus); library(nortest)})

cases <- list()
add <- function(name, input, want, rel) {
  cases[[length(cases) + 1]] <<- list(name = name, input = input, want = as.list(want), rel = rel)
}

# --- shape -----------------------------------------------------------------
shape <- function(name, x, input = list(x = x)) {
  y <- sort(log(x)); n <- length(y)
  w <- shapiro.test(y)
  want <- c(w = unname(w$statistic))
  add(paste("W:", name), input, want, 1e-9)
  add(paste("p of W:", name), input, c(p = w$p.value), 1e-9)
  m <- 0.5^(1 / n)
  rank <- c(1 - m, (2:(n - 1) - 0.3175) / (n + 0.365), m)
  want <- c(correlation = cor(y, qnorm(rank)))
  if (n >= 8) { a <- ad.test(y); want <- c(want, a2 = unname(a$statistic), a2_p = a$p.value) }
  add(paste("plot:", name), input, want, 1e-9)
}
shape("Royston 1995, AS R94's driver, as exp of it", exp(c(.139, .157, .175, .256, .344, .413, .503, .577, .614, .655, .954, 1.392, 1.557, 1.648,
  1.690, 1.994, 2.174, 2.206, 3.245, 3.510, 3.571, 4.354, 4.980, 6.084, 8.351)))
shape("chromium, USEPA 1992", c(10, 13, 20, 36, 41, 59, 67, 110, 110, 136, 140, 160, 200, 230, 1300))
shape("USEPA QA/G-9S 2006, box 3-12", c(8.12, 7.32, 4.82, 6.52, 7.80, 11.89, 12.94, 7.51, 18.14, 4.09, 5.70, 15.57, 6.68, 8.15, 5.56))
set.seed(20, kind = "Mersenne-Twister", normal.kind = "Inversion")
for (n in c(3, 4, 5, 6, 7, 8, 10, 11, 12, 13, 20, 50, 200)) shape(paste("made,", n), round(rlnorm(n, 4, 0.9), 2))
shape("made, 30, two kinds of homes", round(c(rlnorm(20, 3, 0.3), rlnorm(10, 6, 0.3)), 2))
shape("eight, one of them far off", c(10, 10.1, 10.2, 10.3, 10.4, 10.5, 10.6, 5000))
shape("twenty, one of them far off", c(10 + (1:19) / 10, 50000))
for (n in c(1000, 5000)) shape(paste("an even sweep of", n), 10 + (7919 * (1:n)) %% 5003, list(sweep = n))

# --- likelihood --------------------------------------------------------------
# A value lies from lower to upper; upper Inf is written as 0 in the input's stead.
logl <- function(d, mu, sigma) {
  s <- sqrt(sigma^2 + d$error^2)
  a <- (log(d$lower) - mu) / s; b <- (log(d$upper) - mu) / s
  exact <- d$lower == d$upper
  out <- dnorm(a[exact], log = TRUE) - log(s[exact])
  a <- a[!exact]; b <- b[!exact]
  flip <- a > 0; t <- a; a[flip] <- -b[flip]; b[flip] <- -t[flip]
  lb <- pnorm(b, log.p = TRUE); la <- pnorm(a, log.p = TRUE)
  sum(out) + sum(lb + log1p(-exp(la - lb)))
}
limits <- function(d, value, line, adjust, conf = 0.95) {
  n <- nrow(d)
  f <- function(p) logl(d, p[1], exp(p[2])) - adjust * log(sum(1 / (exp(2 * p[2]) + d$error^2))) / 2
  best <- optim(c(3, 0), f, control = list(fnscale = -1, reltol = 1e-15, maxit = 5000))
  best <- optim(best$par, f, control = list(fnscale = -1, reltol = 1e-15, maxit = 5000))
  drop <- if (adjust) (n - 1) * log1p(qt((1 + conf) / 2, n - 1)^2 / (n - 1)) else qchisq(conf, 1)
  centre <- value(best$par[1], exp(best$par[2]))
  profile <- function(psi) {
    if (is.null(line)) g <- function(m) f(c(m, psi)) else g <- function(tau) f(c(line(psi, exp(tau)), tau))
    mid <- if (is.null(line)) best$par[1] else best$par[2]
    wide <- optimize(g, mid + (if (is.null(line)) c(-40, 10) else c(-3, 3)), maximum = TRUE, tol = 1e-10)
    optimize(g, wide$maximum + c(-.05, .05), maximum = TRUE, tol = 1e-12)$objective
  }
  h <- function(psi) 2 * (best$value - profile(psi)) - drop
  step <- 0.2; while (h(centre - step) < 0) step <- step * 1.3
  low <- uniroot(h, c(centre - step, centre), tol = 1e-11)$root
  step <- 0.2; while (h(centre + step) < 0) step <- step * 1.3
  c(low, centre, uniroot(h, c(centre, centre + step), tol = 1e-11)$root)
}
quantities <- list(
  gm = list(function(m, s) m, function(psi, s) psi, exp),
  gsd = list(function(m, s) log(s), NULL, function(t) exp(exp(t))),
  am = list(function(m, s) m + s^2 / 2, function(psi, s) psi - s^2 / 2, exp),
  above100 = list(function(m, s) (m - log(100)) / s, function(psi, s) log(100) + psi * s, pnorm),
  q90 = list(function(m, s) m + qnorm(.9) * s, function(psi, s) psi - qnorm(.9) * s, exp))

fit <- function(name, lower, upper, error = rep(0, length(lower))) {
  d <- data.frame(lower = lower, upper = upper, error = error)
  input <- list(lower = lower, upper = ifelse(is.infinite(upper), 0, upper), error = error)
  if (all(error == 0)) {
    l <- ifelse(lower == 0, NA, lower); u <- ifelse(is.infinite(upper), NA, upper)
    s <- survreg(Surv(l, u, type = "interval2") ~ 1, dist = "lognormal", control = survreg.control(rel.tolerance = 1e-14, maxiter = 200))
    add(paste("survreg:", name), input, c(meanlog = unname(coef(s)), sdlog = s$scale), 1e-7)
    add(paste("survreg, likelihood:", name), input, c(loglik = logl(d, unname(coef(s)), s$scale) - sum(log(lower[lower == upper]))), 1e-9)
    f <- fitdistcens(data.frame(left = l, right = u), "lnorm", control = list(reltol = 1e-15, maxit = 5000))
    add(paste("fitdistcens:", name), input, c(meanlog = unname(f$estimate[1]), sdlog = unname(f$estimate[2])), 1e-5)
  }
  for (method in c("profile-likelihood", "adjusted-likelihood")) {
    want <- c()
    for (q in names(quantities)) {
      k <- quantities[[q]]
      v <- k[[3]](limits(d, k[[1]], k[[2]], method == "adjusted-likelihood"))
      names(v) <- paste0(q, c("_lower", "", "_upper")); want <- c(want, v)
    }
    add(paste0(method, ": ", name), c(input, list(method = method)), want, 2e-6)
  }
}
left <- function(limits, x) { cens <- x < limits; list(ifelse(cens, 0, x), ifelse(cens, limits, x)) }
x <- round(rlnorm(40, 3.6, 1), 1)
l <- left(rep(c(10, 20, 30, 10), 10), x)
fit("made, 40, below three limits", l[[1]], l[[2]])
x <- round(rlnorm(12, 4, 0.9), 1)
l <- left(rep(60, 12), x)
fit("made, 12, more than half below 60", l[[1]], l[[2]])
cut <- c(0, 20, 37, 60, 100, 148, 200, 300, 400, Inf)
x <- rlnorm(60, 4.3, 0.9)
k <- findInterval(x, cut)
fit("made, 60, between class bounds, open at the ends", cut[k], cut[k + 1])
x <- rlnorm(30, 4, 0.8); mixed <- rep(c("exact", "left", "round"), 10)
lower <- ifelse(mixed == "exact", round(x, 1), ifelse(mixed == "round", floor(x / 10) * 10, ifelse(x < 40, 0, round(x, 1))))
upper <- ifelse(mixed == "exact", round(x, 1), ifelse(mixed == "round", floor(x / 10) * 10 + 10, ifelse(x < 40, 40, round(x, 1))))
fit("made, 30, exact, below a limit, rounded to tens", lower, upper)
x <- round(rlnorm(25, 4, 0.7) * rlnorm(25, 0, rep(c(.1, .2, .3, .4, .5), 5)), 1)
fit("made, 25, with known errors", x, x, rep(c(.1, .2, .3, .4, .5), 5))

cat(toJSON(list(
  source = "R's shapiro.test (Royston 1995, AS R94), nortest::ad.test, survival::survreg, fitdistrplus::fitdistcens; profile limits by base R's optim, optimize and uniroot",
  made_by = "testdata/reference/lognormal.R",
  with = paste0(R.version.string, ", survival ", packageVersion("survival"), ", fitdistrplus ", packageVersion("fitdistrplus"), ", nortest ", packageVersion("nortest")),
  cases = cases), auto_unbox = TRUE, digits = NA), "\n")
