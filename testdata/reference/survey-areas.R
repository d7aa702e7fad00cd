# Areas with partial pooling: lme4's lmer and metafor's rma, and the same likelihoods
# and posteriors written out densely in base R.
#
# The Minnesota homes are the data frame `radon` of the R package rstanarm (GPL-3), read
# from Debian's package without installing it. Its rows are not kept here: a restricted
# likelihood depends on them through the number, mean and spread of each county's homes
# on each floor, and those are what is kept. The package added 0.1 pCi/L to every value;
# Gelman and Hill (2007, chapter 12) put 0.1 for the zeros alone, so 0.1 is taken off
# again and put where nothing is left.
#
# All other data are invented, typed in from print (Dyestuff: Davies and Goldsmith 1972;
# BCG trials: Colditz et al. 1994), or R's own.
# Prints JSON: Rscript survey-areas.R > survey-areas.json
suppressMessages({library(jsonlite); library(lme4); library(metafor)})
set.seed(11, kind = "Mersenne-Twister", normal.kind = "Inversion", sample.kind = "Rejection")

cases <- list()
add <- function(name, input, want, rel) cases[[length(cases) + 1]] <<- list(name = name, input = input, want = as.list(want), rel = rel)

exactly <- lmerControl(optimizer = "nloptwrap", optCtrl = list(xtol_abs = 1e-13, ftol_abs = 1e-15, xtol_rel = 1e-13, ftol_rel = 1e-15))
fitted <- function(m) {
  v <- as.data.frame(VarCorr(m))$sdcor
  f <- fixef(m); s <- sqrt(diag(as.matrix(vcov(m))))
  names(f) <- paste0("b", seq_along(f) - 1); names(s) <- paste0("se", seq_along(s) - 1)
  c(f, s, sdArea = v[1], sdHome = v[2], logLik = as.numeric(logLik(m)))
}

## Minnesota
folder <- Sys.getenv("RSTANARM_DATA")
if (folder == "") {
  at <- tempfile("rstanarm"); dir.create(at)
  if (system(paste("cd", at, "&& apt-get -qq download r-cran-rstanarm 2>/dev/null && dpkg-deb -x r-cran-rstanarm_*.deb .")) != 0) stop("Debian's package r-cran-rstanarm is needed")
  folder <- file.path(at, "usr/lib/R/site-library/rstanarm/data")
}
e <- new.env(); invisible(lazyLoad(file.path(folder, "Rdata"), envir = e))
radon <- e$radon; stopifnot(nrow(radon) == 919, nlevels(radon$county) == 85)
off <- round(exp(radon$log_radon) - 0.1, 1); stopifnot(max(abs(log(off + 0.1) - radon$log_radon)) < 1e-12)
radon$gh <- log(ifelse(off == 0, 0.1, off))
cells <- function(y) {
  a <- aggregate(y, list(floor = radon$floor, county = radon$county), function(v) c(length(v), mean(v), if (length(v) > 1) sd(v) else 0))
  u <- radon$log_uranium[match(a$county, radon$county)]
  list(county = as.character(a$county), floor = a$floor, uranium = u, n = a$x[, 1], mean = a$x[, 2], sd = a$x[, 3])
}
for (what in c("zeros as 0.1", "0.1 added")) {
  radon$y <- if (what == "zeros as 0.1") radon$gh else radon$log_radon
  input <- cells(radon$y); again <- list(like = paste("lme4: Minnesota, floor,", what))
  m1 <- lmer(y ~ floor + (1 | county), radon, control = exactly)
  m2 <- lmer(y ~ floor + log_uranium + (1 | county), radon, control = exactly)
  add(paste("lme4: Minnesota, floor,", what), input, fitted(m1), 1e-6)
  add(paste("lme4: Minnesota, floor and uranium,", what), again, fitted(m2), 2e-6)
  add(paste("lme4: Minnesota, floor, plain likelihood,", what), again, fitted(update(m1, REML = FALSE)), 1e-6)
  k <- coef(m1)$county[, 1]; names(k) <- rownames(coef(m1)$county)
  add(paste("lme4: Minnesota counties, floor,", what), again, k, 2e-6)
  k <- coef(m2)$county[, 1]; names(k) <- rownames(coef(m2)$county)
  add(paste("lme4: Minnesota counties, floor and uranium,", what), again, k, 2e-6)
}

## Dyestuff and sleepstudy, in hundreds
dye <- data.frame(a = as.character(Dyestuff$Batch), y = Dyestuff$Yield / 100)
rows <- function(d) as.list(d)
add("lme4: Dyestuff", rows(dye), fitted(lmer(y ~ 1 + (1 | a), dye, control = exactly)), 1e-6)
add("lme4: Dyestuff, plain likelihood", rows(dye), fitted(lmer(y ~ 1 + (1 | a), dye, REML = FALSE, control = exactly)), 1e-6)
sleep <- data.frame(a = as.character(sleepstudy$Subject), x1 = sleepstudy$Days, y = sleepstudy$Reaction / 100)
add("lme4: sleepstudy", rows(sleep), fitted(lmer(y ~ x1 + (1 | a), sleep, control = exactly)), 1e-6)

## Areas' own estimates with known errors: BCG vaccine trials, log relative risks
bcg <- data.frame(tpos = c(4, 6, 3, 62, 33, 180, 8, 505, 29, 17, 186, 5, 27), tneg = c(119, 300, 228, 13536, 5036, 1361, 2537, 87886, 7470, 1699, 50448, 2493, 16886),
  cpos = c(11, 29, 11, 248, 47, 372, 10, 499, 45, 65, 141, 3, 29), cneg = c(128, 274, 209, 12619, 5761, 1079, 619, 87892, 7232, 1600, 27197, 2338, 17825))
bcg <- escalc("RR", ai = tpos, bi = tneg, ci = cpos, di = cneg, data = bcg)
known <- list(a = sprintf("trial %02d", 1:13), y = as.numeric(bcg$yi), se = sqrt(as.numeric(bcg$vi)), homeSD = 0)
for (method in c("REML", "ML")) {
  m <- rma(yi, vi, data = bcg, method = method, control = list(threshold = 1e-12, maxiter = 1000))
  add(paste0("metafor: BCG", if (method == "ML") ", plain likelihood"), known, c(b0 = as.numeric(m$beta), se0 = m$se, sdArea = sqrt(m$tau2)), 1e-6)
  if (method == "REML") { k <- as.numeric(blup(m)$pred); names(k) <- known$a; add("metafor: BCG areas", known, k, 2e-6) }
}
# No spread between schools is what restricted likelihood sees (Rubin 1981).
schools <- list(a = LETTERS[1:8], y = c(28, 8, -3, 7, -1, 1, 18, 12) / 10, se = c(15, 10, 16, 11, 9, 11, 10, 18) / 10, homeSD = 0)
m <- rma(schools$y, sei = schools$se, method = "REML")
stopifnot(m$tau2 < 1e-8)
add("metafor: eight schools", schools, c(b0 = as.numeric(m$beta), se0 = m$se), 1e-6)

## Invented homes: 12 areas, known errors, and some below a limit
homes <- function(n, tau, sigma, limit, se) {
  a <- rep(seq_along(n), n); x <- rbinom(length(a), 1, .3); s <- if (se) round(runif(length(a), .05, .5), 2) else rep(0, length(a))
  y <- round(4 + tau * rnorm(length(n))[a] - .5 * x + sqrt(sigma^2 + s^2) * rnorm(length(a)), 3)
  b <- as.integer(y < limit); y[b == 1] <- limit
  list(a = sprintf("area %02d", a), x1 = x, y = y, se = s, below = b)
}
dense <- function(d, p, restricted = TRUE) {
  X <- cbind(1, d$x1); A <- outer(d$a, d$a, "==")
  V <- diag(p[1]^2 + d$se^2) + p[2]^2 * A
  U <- chol(V); W <- chol2inv(U); I <- t(X) %*% W %*% X; b <- solve(I, t(X) %*% W %*% d$y); r <- d$y - X %*% b
  l <- -(2 * sum(log(diag(U))) + length(d$y) * log(2 * pi) + sum(r * (W %*% r))) / 2
  if (restricted) l <- l + (2 * log(2 * pi) - determinant(I)$modulus[1]) / 2
  list(l = l, b = b, se = sqrt(diag(solve(I))))
}
climb <- function(f, start) {
  for (i in 1:3) { o <- optim(start, function(p) -f(p), control = list(reltol = 1e-15, maxit = 5000)); start <- o$par }
  o <- optim(start, function(p) -f(p), method = "BFGS", control = list(reltol = 1e-16, ndeps = rep(1e-4, length(start)))); o$par
}
d <- homes(c(3, 8, 5, 2, 12, 7, 4, 9, 1, 6, 10, 5), .7, .8, -9, TRUE)
p <- abs(climb(function(p) dense(d, p)$l, c(.8, .4)))
f <- dense(d, p)
add("dense: known errors", d, c(b0 = f$b[1], b1 = f$b[2], se0 = f$se[1], se1 = f$se[2], sdHome = p[1], sdArea = p[2]), 1e-5)
add("dense: known errors, height", d, c(logLik = f$l), 1e-9)

# Censored: each area's effect summed over 601 even steps of ±7.5 τ (a smooth, bell-shaped
# function, so to all digits), fixed effects by climbing.
censored <- function(d, beta, sigma, tau) {
  u <- seq(-7.5, 7.5, length.out = 601); w <- dnorm(u) * (u[2] - u[1])
  s <- sqrt(sigma^2 + d$se^2); m <- beta[1] + beta[2] * d$x1
  l <- outer(seq_along(d$y), u, function(i, u) { z <- (d$y[i] - m[i] - tau * u) / s[i]; ifelse(d$below[i] == 1, pnorm(z, log.p = TRUE), dnorm(z, log = TRUE) - log(s[i])) })
  sum(log(exp(rowsum(l, d$a)) %*% w))
}
d <- homes(c(4, 9, 6, 3, 11, 7, 5, 8, 2, 6, 10, 5), .5, .8, 3.4, TRUE)
stopifnot(sum(d$below) >= 15)
p <- climb(function(p) censored(d, p[1:2], exp(p[3]), exp(p[4])), c(4, -.5, log(.8), log(.5)))
add("sums: below a limit, plain likelihood", d, c(b0 = p[1], b1 = p[2], sdHome = exp(p[3]), sdArea = exp(p[4])), 2e-5)
add("sums: below a limit, height, plain likelihood", d, c(logLik = censored(d, p[1:2], exp(p[3]), exp(p[4]))), 1e-6)
b <- climb(function(b) censored(d, b, .8, .5), c(4, -.5))
H <- -optimHess(b, function(b) censored(d, b, .8, .5), control = list(ndeps = c(1e-3, 1e-3)))
add("sums: below a limit, at 0.8 and 0.5", d, c(b0 = b[1], b1 = b[2], logLik = censored(d, b, .8, .5), logDet = determinant(H)$modulus[1]), 2e-5)

## Posteriors, by sums over a plain fine grid of the spreads
# Exact homes, the fixed effect normal given the spreads. At each place the joint normal of (β, u).
# An area's own spread is σ·exp(δz − δ²), z standard normal, summed over 41 z with the
# likelihood of its homes' distances from its level, the level's variance allowed for.
middle <- function(from, to, n) from + (to - from) * (seq_len(n) - .5) / n
delta <- .1; zs <- middle(-5, 5, 101); off <- exp(delta * zs - delta^2)
posterior <- function(d, sigmas, taus, prior, level = 100, more = .2) {
  area <- unique(d$a); J <- length(area); Z <- outer(d$a, area, "==") * 1; X <- matrix(1, length(d$y), 1); M <- cbind(X, Z)
  g <- expand.grid(s = sigmas, t = taus); l <- numeric(nrow(g)); mean <- matrix(0, nrow(g), J + 1); var <- matrix(0, nrow(g), J + 1)
  u1 <- numeric(nrow(g))
  for (k in seq_len(nrow(g))) {
    w <- 1 / (g$s[k]^2 + d$se^2)
    Q <- crossprod(M * sqrt(w)) + diag(c(0, rep(1 / g$t[k]^2, J)))
    U <- chol(Q); r <- crossprod(M, w * d$y); m <- backsolve(U, backsolve(U, r, transpose = TRUE)); C <- chol2inv(U)
    e <- d$y - M %*% m
    # p(y|β,u) p(u) / p(β,u|y), at their mean
    l[k] <- sum(log(w)) / 2 - sum(w * e^2) / 2 - J * log(g$t[k]) - sum(m[-1]^2) / (2 * g$t[k]^2) - sum(log(diag(U))) - (g$s[k]^2 + g$t[k]^2) / (2 * prior^2)
    mean[k, ] <- c(m[1], m[1] + m[-1]); var[k, ] <- c(C[1, 1], C[1, 1] + 2 * C[1, -1] + diag(C)[-1]); u1[k] <- m[2]
  }
  p <- exp(l - max(l)); p <- p / sum(p)
  q <- function(x, at) { w <- tapply(p, x, sum); c <- cumsum(w) - w / 2; approx(c, as.numeric(names(w)), at)$y }
  inside <- which(d$a == area[1])
  own <- t(sapply(seq_len(nrow(g)), function(k) {
    e <- ((d$y[inside] - mean[k, 2])^2 + var[k, 2])
    l <- sapply(off, function(o) { v <- (g$s[k] * o)^2 + d$se[inside]^2; -sum(log(v) + e / v) / 2 }) - zs^2 / 2
    w <- exp(l - max(l)); w / sum(w)
  }))
  over <- function(f) sum(sapply(seq_along(off), function(i) sum(p * own[, i] * f(g$s * off[i]))))
  at <- function(cc, dd, tail, j) { f <- function(t) over(function(s) pnorm((cc(s) + dd(s) * t - mean[, j]) / sqrt(var[, j]))) - tail; uniroot(f, c(-30, 30), tol = 1e-11)$root }
  list(p = p, g = g, mean = mean, var = var, q = q, at = at, u1 = u1, out = {
    o <- c(b0 = sum(p * mean[, 1]), se0 = sqrt(sum(p * (var[, 1] + mean[, 1]^2)) - sum(p * mean[, 1])^2),
      meanTau2 = sum(p * g$t^2), u1 = sum(p * u1), m1 = sum(p * mean[, 2]), s1 = sqrt(sum(p * (var[, 2] + mean[, 2]^2)) - sum(p * mean[, 2])^2))
    zero <- function(s) 0; one <- function(s) 1; half <- function(s) -s^2 / 2; itself <- function(s) s
    o["gmLower"] <- exp(at(zero, one, .025, 2)); o["gmUpper"] <- exp(at(zero, one, .975, 2))
    o["amLower"] <- exp(at(half, one, .025, 2)); o["am"] <- exp(at(half, one, .5, 2)); o["amUpper"] <- exp(at(half, one, .975, 2))
    if (g$s[1] > 0) {
      there <- function(s) log(level)
      o["shareLower"] <- pnorm(at(there, itself, .025, 2)); o["shareUpper"] <- pnorm(at(there, itself, .975, 2))
      o["share"] <- pnorm(at(there, itself, .5, 2))
      o["exceeds"] <- 1 - over(function(s) pnorm((log(level) + s * qnorm(more) - mean[, 2]) / sqrt(var[, 2])))
      o["medianSigma"] <- q(g$s, .5)
    }
    o["medianTau"] <- q(g$t, .5); o["upperTau"] <- q(g$t, .975); o })
}
d <- homes(c(3, 8, 5, 2, 12, 7), .4, .8, -9, TRUE); d$x1 <- NULL; d$below <- NULL
add("sums, posterior: six areas", d, posterior(d, middle(.35, 1.6, 100), middle(0, 4, 200), 1)$out, 4e-3)
add("sums, posterior: eight schools", schools, posterior(list(a = schools$a, y = schools$y, se = schools$se), 0, middle(0, 6, 3000), 1)$out, 2e-3)

# How far counties' spreads lie apart: ln s² of n homes is ln σ² + digamma(ν/2) − ln(ν/2), ν = n − 1,
# with the variance trigamma(ν/2); what is left between counties is that of ln σ², twice that of ln σ.
apart <- function(y) {
  a <- cells(y); k <- a$n >= 3 & a$sd > 0; nu <- a$n[k] - 1
  m <- rma(2 * log(a$sd[k]) - digamma(nu / 2) + log(nu / 2), trigamma(nu / 2), method = "REML", control = list(threshold = 1e-12, maxiter = 1000))
  ci <- confint(m)$random["tau", ]
  c(cells = sum(k), sd = ci[["estimate"]] / 2, lower = ci[["ci.lb"]] / 2, upper = ci[["ci.ub"]] / 2)
}
add("apart: spreads within Minnesota's counties, by floor", list(like = "lme4: Minnesota, floor, zeros as 0.1"), apart(radon$gh), 1e-4)

# Below a limit: the intercept on the grid too, and each area summed over its level μ,
# a cell of which has the prior's probability and the likelihood in its middle.
below <- function(d, betas, sigmas, taus) {
  area <- unique(d$a); mu <- middle(-4, 12, 800); edge <- c(-Inf, mu[-1] - .01, Inf)
  given <- lapply(sigmas, function(sigma) sapply(area, function(a) { l <- 0
    for (i in which(d$a == a)) { s <- sqrt(sigma^2 + d$se[i]^2); z <- (d$y[i] - mu) / s; l <- l + if (d$below[i] == 1) pnorm(z, log.p = TRUE) else dnorm(z, log = TRUE) - log(s) }
    exp(l) }))
  total <- 0; moments <- numeric(5)
  for (tau in taus) {
    P <- pnorm(outer(-betas, edge, "+") / tau); P <- P[, -1] - P[, -ncol(P)]
    for (k in seq_along(sigmas)) {
      each <- P %*% given[[k]]
      f <- apply(each, 1, prod) * exp(-(sigmas[k]^2 + tau^2) / 2)
      l <- given[[k]][, 1]
      m <- (P %*% (l * mu)) / each[, 1]; m2 <- (P %*% (l * mu^2)) / each[, 1]
      total <- total + sum(f)
      moments <- moments + c(sum(f * betas), sum(f * betas^2), sum(f * m), sum(f * m2), sum(f) * tau^2)
    }
  }
  m <- moments / total
  c(b0 = m[1], se0 = sqrt(m[2] - m[1]^2), m1 = m[3], s1 = sqrt(m[4] - m[3]^2), meanTau2 = m[5])
}
d <- homes(c(4, 8, 5, 3, 9, 6, 7, 5), .5, .8, 3.5, TRUE); d$x1 <- NULL
stopifnot(sum(d$below) >= 8)
add("sums, posterior: below a limit", d, below(d, middle(-1, 9, 120), middle(.4, 1.8, 40), middle(0, 4.5, 100)), 1e-2)

cat(toJSON(list(source = "lme4 (Bates et al. 2015, J. Stat. Softw. 67(1)) and metafor (Viechtbauer 2010, J. Stat. Softw. 36(3)); the dense normals and the plain sums are the definitions. Minnesota homes: number, mean and spread by county and floor, from the data frame radon of rstanarm (GPL-3), after Gelman and Hill 2007, chapter 12",
  made_by = "testdata/reference/survey-areas.R", with = paste0(R.version.string, ", lme4 ", packageVersion("lme4"), ", metafor ", packageVersion("metafor")),
  cases = cases), auto_unbox = TRUE, digits = NA), "\n", sep = "")
