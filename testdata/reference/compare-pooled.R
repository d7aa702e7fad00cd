# Homes pooled, by R: random effects by the restricted likelihood as it is defined, which
# without its restriction is held to nlme's lme; Hartung and Knapp's factor; Q and its
# profile; the next home as an integral. Ranks, Student, Welch and Wilson by wilcox.test,
# t.test and prop.test; a system switched on and off as generalized least squares of
# contrasts.
# Prints JSON: Rscript compare-pooled.R > compare-pooled.json
suppressMessages({library(jsonlite); library(nlme)})

cases <- list()
add <- function(name, input, want, rel) cases[[length(cases) + 1]] <<- list(name = name, input = input, want = as.list(want), rel = rel)

# Random effects.
at <- function(y, v, t2) { w <- 1 / (v + t2); m <- sum(w * y) / sum(w); list(w = w, m = m, q = sum(w * (y - m)^2)) }
loglik <- function(y, v, t2) { a <- at(y, v, t2); -0.5 * (sum(log(v + t2)) + log(sum(a$w)) + a$q) }
reml <- function(y, v) {
  most <- 10 * var(y) + max(v)
  grid <- c(0, most * 10^seq(-8, 0, length.out = 400))
  h <- sapply(grid, function(t) loglik(y, v, t)); i <- which.max(h)
  if (i == 1) return(0)
  slope <- function(t) { a <- at(y, v, t); sum(a$w^2 * (y - a$m)^2) - sum(a$w) + sum(a$w^2) / sum(a$w) }
  uniroot(slope, c(grid[i - 1], grid[min(i + 1, 401)]), tol = 1e-16 * most)$root
}
invq <- function(y, v, c) {
  f <- function(t) at(y, v, t)$q - c
  if (f(0) <= 0) return(0)
  hi <- max(v); while (f(hi) > 0) hi <- hi * 4
  uniroot(f, c(0, hi), tol = 1e-15 * hi)$root
}
# Of normals with the mean and variance that of says of a tau^2.
nexthome <- function(y, v, p, of) {
  nu <- length(y) - 1; q0 <- at(y, v, 0)$q
  part <- function(t2, x) { n <- of(t2); pnorm((x - n[1]) / sqrt(n[2])) }
  cdf <- function(x) pchisq(q0, nu, lower.tail = FALSE) * part(0, x) +
    integrate(function(l) sapply(l, function(l) { c <- exp(l); part(invq(y, v, c), x) * dchisq(c, nu) * c }), log(q0) - 45, log(q0), rel.tol = 1e-9, subdivisions = 2000)$value
  s <- sd(y) + sqrt(max(v))
  uniroot(function(x) cdf(x) - p, mean(y) + c(-200, 200) * s, tol = 1e-9)$root
}
pool <- function(name, y, sd, common = 0, conf = 0.95, mixed = TRUE) {
  v <- sd^2; k <- length(y); t2 <- reml(y, v); a <- at(y, v, t2); q <- at(y, v, 0)$q; al <- 1 - conf
  half <- sqrt(qt(1 - al / 2, k - 1)^2 * max(1, a$q / (k - 1)) / sum(a$w) + qnorm(1 - al / 2)^2 * common)
  w <- 1 / v; typical <- (k - 1) * sum(w) / (sum(w)^2 - sum(w^2))
  input <- list(log = y, sd = sd, common = common, confidence = conf)
  add(paste("pool:", name), input, c(log = a$m, lower = a$m - half, upper = a$m + half, tau = sqrt(t2), q = q, p = pchisq(q, k - 1, lower.tail = FALSE), i2 = t2 / (t2 + typical),
    tau_lower = sqrt(min(t2, invq(y, v, qchisq(1 - al / 2, k - 1)))), tau_upper = sqrt(max(t2, invq(y, v, qchisq(al / 2, k - 1))))), 1e-7)
  # No further in than the mean's limits with what homes differ by added, in one estimate or over what Q says.
  least <- sqrt(half^2 + qt(1 - al / 2, k - 1)^2 * t2)
  free <- function(t2) { a <- at(y, v, t2); c(a$m, 1 / sum(a$w) + t2 + common) }
  about <- function(t2) c(a$m, (half / qnorm(1 - al / 2))^2 + t2)
  add(paste("next:", name), input, c(lower = min(nexthome(y, v, al / 2, free), nexthome(y, v, al / 2, about), a$m - least),
    upper = max(nexthome(y, v, 1 - al / 2, free), nexthome(y, v, 1 - al / 2, about), a$m + least)), 2e-4)
  # nlme has the same likelihood without the restriction; with it and a sigma held at 1 its criterion is another.
  if (mixed) {
    m <- lme(y ~ 1, random = ~ 1 | id, weights = varFixed(~ v), data = data.frame(y, v, id = factor(seq_along(y))), method = "ML", control = lmeControl(sigma = 1))
    ml <- optimize(function(t) { a <- at(y, v, t^2); -sum(log(v + t^2)) - a$q }, c(0, 10 * sd(y)), maximum = TRUE, tol = 1e-10)$maximum
    stopifnot(abs(as.numeric(VarCorr(m)[1, 2]) - ml) < 1e-5)
  }
}
# Colditz and others 1994, J. Am. Med. Assoc. 271:698: thirteen trials of BCG vaccine;
# log relative risks and their variances from the four counts of each.
bcg <- list(c(4, 119, 11, 128), c(6, 300, 29, 274), c(3, 228, 11, 209), c(62, 13536, 248, 12619), c(33, 5036, 47, 5761), c(180, 1361, 372, 1079),
  c(8, 2537, 10, 619), c(505, 87886, 499, 87892), c(29, 7470, 45, 7232), c(17, 1699, 65, 1600), c(186, 50448, 141, 27197), c(5, 2493, 3, 2338), c(27, 16886, 29, 17825))
y <- sapply(bcg, function(n) log(n[1] / (n[1] + n[2])) - log(n[3] / (n[3] + n[4])))
sd <- sapply(bcg, function(n) sqrt(1 / n[1] - 1 / (n[1] + n[2]) + 1 / n[3] - 1 / (n[3] + n[4])))
pool("BCG, Colditz 1994", y, sd)
pool("BCG, 90 % and an error all share", y, sd, common = 0.02, conf = 0.9)
# Rubin 1981, J. Educ. Stat. 6:377: coaching in eight schools, a tenth of the points.
pool("eight schools, Rubin 1981", c(28, 8, -3, 7, -1, 1, 18, 12) / 10, c(15, 10, 16, 11, 9, 11, 10, 18) / 10, mixed = FALSE)
pool("seven invented homes", log(c(0.12, 0.31, 0.08, 0.22, 0.45, 0.15, 0.19)), c(0.1, 0.25, 0.15, 0.4, 0.12, 0.08, 0.3))
pool("three invented homes", log(c(0.12, 0.31, 0.2)), c(0.1, 0.25, 0.15))
pool("two invented homes", log(c(0.12, 0.31)), c(0.1, 0.25))
pool("six homes known alike", log(c(0.12, 0.31, 0.08, 0.22, 0.45, 0.15)), rep(0.2, 6))
pool("six homes known almost alike", log(c(0.12, 0.31, 0.08, 0.22, 0.45, 0.15)), 0.2 + c(0, 1, 2, 0, 1, 2) * 1e-7)

# Ranks. Hollander and Wolfe, Nonparametric Statistical Methods: depression scale
# factors of nine patients, and permeability of membranes, both as R's own help of
# wilcox.test gives them. Student's sleep data are R's.
ranks <- function(name, d, conf = 0.95) {
  w <- suppressWarnings(wilcox.test(d, conf.int = TRUE, conf.level = conf, exact = TRUE))
  add(paste("signed:", name), list(x = d, confidence = conf), c(mid = unname(w$estimate), lower = w$conf.int[1], upper = w$conf.int[2]), 1e-9)
}
x <- c(1.83, 0.50, 1.62, 2.48, 1.68, 1.88, 1.55, 3.06, 1.30); y <- c(0.878, 0.647, 0.598, 2.05, 1.06, 1.29, 1.06, 3.14, 1.29)
ranks("depression", y - x)
ranks("depression, 80 %", y - x, 0.8)
# Printed there: V = 40, p = 0.01953. After over before of positive values, so by logarithms too.
w <- wilcox.test(x, y, paired = TRUE, alternative = "greater"); stopifnot(w$statistic == 40, abs(w$p.value - 0.01953) < 5e-6)
depression <- log(y / x)
ranks("depression, logarithms", depression)
# Darwin's maize, crossed less self-fertilised in eighths of an inch, as Fisher 1935, The
# Design of Experiments, section 17, has them (from memory, with t = 2.148 on 14).
maize <- c(49, -67, 8, 16, 6, 23, 28, 41, 14, 29, 56, 24, 75, 60, -48)
stopifnot(abs(t.test(maize)$statistic - 2.148) < 5e-4, t.test(maize)$parameter == 14)
ranks("maize, Fisher 1935", maize)
fans <- log(c(333, 27.3, 88.3, 167, 27.1, 209, 124, 42.9, 67.7, 72.8, 20.7, 37.5, 35, 50.4) / c(795, 122, 360, 323, 140, 899, 396, 70.9, 329, 512, 117, 113, 172, 167))
ranks("14 invented homes", fans)
ranks("14 invented homes, 99 %", fans, 0.99)
ranks("50 made values", sin((1:50)^2) + (1:50) / 40)
shift <- function(name, x, y, conf = 0.95) {
  w <- wilcox.test(x, y, conf.int = TRUE, conf.level = conf, exact = TRUE)
  add(paste("shift:", name), list(x = x, y = y, confidence = conf), c(mid = unname(w$estimate), lower = w$conf.int[1], upper = w$conf.int[2]), 1e-9)
}
a <- c(0.80, 0.83, 1.89, 1.04, 1.45, 1.38, 1.91, 1.64, 0.73, 1.46); b <- c(1.15, 0.88, 0.90, 0.74, 1.21)
shift("permeability", a, b)
shift("permeability, 90 %", a, b, 0.9)
shift("50 and 40 made values", sin((1:50)^2), sin((1:40)^3) + 0.3)

# Student and Welch, on logarithms.
t1 <- function(name, d, conf = 0.95) { t <- t.test(d, conf.level = conf); add(paste("t:", name), list(x = d, confidence = conf), c(mid = unname(t$estimate), lower = t$conf.int[1], upper = t$conf.int[2]), 1e-10) }
t1("sleep", with(sleep, extra[group == 1] - extra[group == 2]))
t1("depression, logarithms", depression)
t1("maize, Fisher 1935", maize)
t1("14 invented homes", fans)
t1("14 invented homes, 80 %", fans, 0.8)
welch <- function(name, x, y, conf = 0.95) {
  t <- t.test(log(x), log(y), conf.level = conf)
  add(paste("welch:", name), list(x = x, y = y, confidence = conf), c(ratio = exp(unname(t$estimate[1] - t$estimate[2])), lower = exp(t$conf.int[1]), upper = exp(t$conf.int[2]), df = unname(t$parameter)), 1e-10)
}
welch("permeability", a, b)
welch("invented homes", c(38, 61, 25, 90, 44, 29), c(410, 190, 830, 95, 260, 330, 150, 520))

# Wilson; with the shares of Newcombe 1998, Stat. Med. 17:857, table I.
for (n in list(c(81, 263), c(15, 148), c(1, 29), c(7, 12))) for (conf in c(0.95, 0.8)) {
  w <- prop.test(n[1], n[2], correct = FALSE, conf.level = conf)$conf.int
  add(paste("wilson:", n[1], "of", n[2], "at", conf), list(below = n[1], homes = n[2], confidence = conf), c(share = 100 * n[1] / n[2], lower = 100 * w[1], upper = 100 * w[2]), 1e-9)
}

# On and off: contrasts of each period with the two beside it and their covariance.
cycle <- function(name, start, days, mean, on, conf = 0.95) {
  n <- length(mean); y <- log(mean); t <- start + days / 2; D <- matrix(0, n - 2, n)
  for (i in 2:(n - 1)) { l <- (t[i + 1] - t[i]) / (t[i + 1] - t[i - 1]); D[i - 1, (i - 1):(i + 1)] <- c(-l, 1, -(1 - l)) * ifelse(on[i], 1, -1) }
  d <- D %*% y; C <- D %*% diag(1 / days) %*% t(D); W <- solve(C); one <- rep(1, n - 2)
  m <- sum(W %*% d) / sum(W); r <- d - m; s2 <- c(t(r) %*% W %*% r) / (n - 3); half <- qt((1 + conf) / 2, n - 3) * sqrt(s2 / sum(W))
  add(paste("cycle:", name), list(start = start, days = days, mean = mean, on = on, confidence = conf),
    c(ratio = exp(m), lower = exp(m - half), upper = exp(m + half), df = n - 3, scatter = sqrt(s2 / mean(days))), 1e-8)
}
cycle("four weeks", c(0, 7, 14, 21), rep(7, 4), c(310, 90, 260, 81), c(FALSE, TRUE, FALSE, TRUE))
cycle("nine uneven periods", c(0, 8, 15, 20, 30, 36, 45, 50, 60), c(7, 6, 5, 9, 5, 8, 4, 9, 6), c(310, 90, 260, 81, 240, 60, 275, 66, 190), rep(c(FALSE, TRUE), length.out = 9))
cycle("eleven periods, on first, 80 %", (0:10) * 7, rep(c(6, 5), length.out = 11), c(52, 230, 61, 200, 40, 188, 47, 160, 55, 150, 38), rep(c(TRUE, FALSE), length.out = 11), 0.8)
# Thirty periods: a line that may bend four times, by lm.
n <- 30; start <- (0:29) * 7; days <- 5 + (0:29 %% 3); on <- rep(c(FALSE, TRUE), 15); t <- start + days / 2
mean <- round(200 * exp(0.4 * cos(start / 58) + 0.2 * sin((1:30)^2)) * ifelse(on, 0.35, 1), 1)
X <- sapply(1:4, function(k) { j <- floor(k * 30 / 5); pmax(0, t - (t[j] + t[j + 1]) / 2) })
m <- lm(log(mean) ~ on + t + X, weights = days / mean(days)); ci <- confint(m, "onTRUE")
add("cycle: thirty periods of a season", list(start = start, days = days, mean = mean, on = on, confidence = 0.95),
  c(ratio = exp(unname(coef(m)["onTRUE"])), lower = exp(ci[1]), upper = exp(ci[2]), df = m$df.residual, scatter = summary(m)$sigma), 1e-8)

cat(toJSON(list(source = "restricted likelihood, Q and the next home as their definitions say, by base R's uniroot and integrate, the likelihood held to nlme::lme's; stats::wilcox.test, t.test, prop.test, lm; contrasts by their covariance matrix. Data from print as the script says, others invented",
  made_by = "testdata/reference/compare-pooled.R", with = paste0(R.version.string, ", nlme ", packageVersion("nlme")),
  cases = cases), auto_unbox = TRUE, digits = NA), "\n", sep = "")
