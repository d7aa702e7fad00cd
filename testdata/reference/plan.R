# Numbers of homes and what they bring, by base R: counts summed one by one, Student's and
# chi-squared distributions, power.t.test, Land's limits by numerical integration, the
# hypergeometric distribution. The slow way everywhere: every number of homes is tried.
# Prints JSON: Rscript plan.R > plan.json
suppressMessages(library(jsonlite))
cases <- list()
add <- function(name, input, want, rel) cases[[length(cases) + 1]] <<- list(name = name, input = input, want = as.list(want), rel = rel)

# Share: Wilson's interval of x of n.
half <- function(x, n, z) z * sqrt(x * (n - x) / n + z^2 / 4) / (n + z^2)
of <- function(n, p, d, conf) {
  z <- qnorm(1 - (1 - conf) / 2); x <- 0:n; q <- dbinom(x, n, p); h <- half(x, n, z)
  mid <- (x + z^2 / 2) / (n + z^2)
  c(average = sum(q * h), within = sum(q[h <= d]), coverage = sum(q[mid - h <= p & p <= mid + h]))
}
share <- function(p, d, conf, assurance) {
  z <- qnorm(1 - (1 - conf) / 2); book <- ceiling(z^2 * p * (1 - p) / d^2)
  most <- 2 * book + 200
  all <- sapply(1:most, of, p = p, d = d, conf = conf)
  n <- which(all["average", ] <= d)[1]
  a <- max(which(all["within", ] < assurance)) + 1
  any <- which(sapply(1:ceiling(z^2 / 4 / d^2 + 10), function(m) half(m / 2, m, z)) <= d)[1]
  add(sprintf("share %g within %g, %g, assured %g", p, d, conf, assurance), list(kind = "share", p = p, d = d, conf = conf, assurance = assurance),
    c(textbook = book, average = n, assured = a, any = any, half = unname(all["average", a]), within = unname(all["within", a]), coverage = unname(all["coverage", a])), 1e-9)
}
share(.1, .05, .95, .9); share(.2, .05, .95, .9); share(.5, .05, .95, .9); share(.05, .02, .95, .8); share(.3, .1, .99, .95); share(.75, .08, .9, .5); share(.02, .02, .95, .9)
# The textbook's best known number.
add("share 0.5 within 0.05: 385", list(kind = "textbook", p = .5, d = .05, conf = .95), c(textbook = 385), 1e-12)
# Many areas, few dwellings, clusters.
several <- function(p, d, conf, areas, how, dwellings, deff) {
  each <- if (how == "sidak") conf^(1 / areas) else 1 - (1 - conf) / areas
  z <- qnorm(1 - (1 - each) / 2); m <- ceiling(z^2 * p * (1 - p) / d^2); n0 <- deff * m
  add(sprintf("share %g within %g in %d areas of %d, %s", p, d, areas, dwellings, how), list(kind = "several", p = p, d = d, conf = conf, areas = areas, how = how, dwellings = dwellings, deff = deff),
    c(each = each, textbook = ceiling(n0 / (1 + (n0 - 1) / dwellings))), 1e-12)
}
several(.1, .05, .95, 12, "bonferroni", 800, 1.5); several(.1, .05, .95, 12, "sidak", 800, 1); several(.4, .1, .9, 5, "sidak", 150, 2)

# Geometric mean.
gm <- function(gsd, r, conf, assurance) {
  s <- log(gsd); f <- log(1 + r); n <- 2:5000; t <- qt(1 - (1 - conf) / 2, n - 1)
  within <- pchisq((n - 1) * (sqrt(n) * f / (t * s))^2, n - 1)
  i <- which(within >= assurance)[1]
  add(sprintf("gm, GSD %g within %g, assured %g", gsd, r, assurance), list(kind = "gm", gsd = gsd, r = r, conf = conf, assurance = assurance),
    c(textbook = ceiling((qnorm(1 - (1 - conf) / 2) * s / f)^2), average = n[which(t * s / sqrt(n) <= f)[1]], assured = n[i], within = within[i], factor = exp(t[i] * s / sqrt(n[i]))), 1e-9)
}
gm(2, .2, .95, .9); gm(2.5, .2, .95, .9); gm(3, .2, .95, .9); gm(3, .5, .95, .8); gm(4, .25, .95, .95); gm(2.3, .1, .99, .5)

# Arithmetic mean: Land's limits from the density of U given V, by integrate.
land <- function(n, s, p) {
  tail <- function(b) {
    cc <- sqrt(n * ((n - 1) * s^2 + n * b^2))
    u <- -sqrt(n) * b / sqrt((n - 1) * s^2 + n * b^2)
    k <- (n - 1) / 2; mode <- (k - sqrt(k^2 + cc^2 / 4)) / (cc / 2)
    l <- function(x) -cc / 2 * tanh(x) - (n - 1) * log(cosh(x))
    top <- l(atanh(mode)); f <- function(x) exp(l(x) - top)
    w <- 1 / sqrt(k * 2); at <- atanh(mode)
    below <- integrate(f, at - 30 * w - 3 / k, atanh(u), rel.tol = 1e-12, subdivisions = 4000)$value
    above <- integrate(f, atanh(u), max(at, atanh(u)) + 30 * w + 3 / k, rel.tol = 1e-12, subdivisions = 4000)$value
    above / (below + above)
  }
  uniroot(function(b) tail(b) - p, s^2 / 2 + c(-8, 12) * s / sqrt(n) * sqrt(1 + s^2 / 2), tol = 1e-12)$root
}
finney <- function(n, s) { m <- n - 1; t <- s^2 / 2; term <- 1; sum <- 1
  for (p in 1:500) { term <- term * m^2 * t / ((m + 1) * p * (m + 2 * p - 2)); sum <- sum + term }; log(sum) }
mover <- function(n, s, p) { z <- qnorm(p); d <- s^2 / 2 - (n - 1) * s^2 / (2 * qchisq(1 - p, n - 1)); s^2 / 2 + sign(z) * sqrt(z^2 * s^2 / n + d^2) }
factor <- function(n, s, conf) { limit <- if (n > 2000) mover else land; a <- (1 - conf) / 2; v <- finney(n, s)
  exp(max(limit(n, s, 1 - a) - v, v - limit(n, s, a))) }
mean.homes <- function(gsd, r, conf, assurance, at) {
  s <- log(gsd); within <- function(n) { top <- uniroot(function(x) factor(n, x, conf) - 1 - r, c(.15, 3) * s, tol = 1e-10)$root; pchisq((n - 1) * (top / s)^2, n - 1) }
  first <- function(lo, hi, ok) { while (hi - lo > 1) { mid <- (lo + hi) %/% 2; if (ok(mid)) hi <- mid else lo <- mid }; hi }
  avg <- first(at[1], at[2], function(n) factor(n, s, conf) <= 1 + r); ass <- first(at[1], at[2], function(n) within(n) >= assurance)
  add(sprintf("mean, GSD %g within %g, assured %g", gsd, r, assurance), list(kind = "mean", gsd = gsd, r = r, conf = conf, assurance = assurance),
    c(textbook = ceiling((qnorm(1 - (1 - conf) / 2) / log(1 + r))^2 * (s^2 + s^4 / 2)), average = avg, assured = ass, within = within(ass), factor = factor(ass, s, conf)), 1e-6)
}
mean.homes(2.5, .2, .95, .9, c(20, 600)); mean.homes(2, .5, .95, .8, c(8, 200)); mean.homes(3, .2, .95, .9, c(40, 800)); mean.homes(3, .06, .95, .9, c(2001, 6000))

# Days: a verdict over homes, and for one.
days <- function(m, ratio, z) {
  right <- function(u) dnorm(u, m) * pnorm(ratio * abs(u) - z); wrong <- function(u) dnorm(u, m) * pnorm(-ratio * abs(u) - z)
  two <- function(f) integrate(f, m - 12, 0, rel.tol = 1e-11, subdivisions = 2000)$value + integrate(f, 0, m + 12, rel.tol = 1e-11, subdivisions = 2000)$value
  add(sprintf("verdicts over homes %g from the level, ratio %g", m, ratio), list(kind = "days", m = m, ratio = ratio, z = z), c(right = two(right), wrong = two(wrong)), 1e-7)
}
days(-.96, 1.5, qnorm(.95)); days(.3, 4.2, qnorm(.9)); days(-2.1, .7, qnorm(.99)); days(0, 12, qnorm(.95))

# Reduction: Student's power where homes' own errors and what they share are nothing ...
for (x in list(c(5, .5), c(10, .5), c(20, .5), c(50, .5), c(4, 1.6), c(12, .9)))
  add(sprintf("power.t.test, %g homes, difference %g", x[1], x[2]), list(kind = "t", n = x[1], delta = x[2]), c(power = power.t.test(n = x[1], delta = x[2], sd = 1, type = "one.sample")$power), 1e-7)
# ... and averaged over the variance seen where they are not.
pooled <- function(n, delta, own, spread, common, conf) {
  t <- qt(1 - (1 - conf) / 2, n - 1); z <- qnorm(1 - (1 - conf) / 2); v <- own + spread
  f <- function(w) dchisq(w, n - 1) * pnorm((delta - sqrt(t^2 * pmax(v * w / (n - 1), own) / n + z^2 * common)) / sqrt(v / n + common))
  bend <- own / v * (n - 1)
  p <- integrate(f, 0, bend, rel.tol = 1e-11, subdivisions = 4000)$value + integrate(f, bend, qchisq(1 - 1e-15, n - 1), rel.tol = 1e-11, subdivisions = 4000)$value
  add(sprintf("pooled, %g homes, difference %g", n, delta), list(kind = "pooled", n = n, delta = delta, own = own, spread = spread, common = common, conf = conf), c(power = p), 1e-6)
}
pooled(10, .9, .18, 1, .05, .95); pooled(5, .8, .3, .2, .03, .95); pooled(30, .5, .2, .4, .02, .99); pooled(3, 1.5, .1, .3, .01, .9)

# Hot areas: binomial tails, every number of homes.
hot <- function(p0, p1, a, power) {
  n <- 1:1500; c <- qbinom(1 - a, n, p0) + 1
  for (i in n) while (c[i] > 0 && pbinom(c[i] - 2, i, p0, lower.tail = FALSE) <= a) c[i] <- c[i] - 1
  pw <- pbinom(c - 1, n, p1, lower.tail = FALSE); fa <- pbinom(c - 1, n, p0, lower.tail = FALSE)
  i <- which(pw >= power)[1]; l <- max(which(pw < power)) + 1
  book <- ((qnorm(1 - a) * sqrt(p0 * (1 - p0)) + qnorm(power) * sqrt(p1 * (1 - p1))) / (p1 - p0))^2
  add(sprintf("hot %g against %g, %g and %g", p1, p0, power, a), list(kind = "hot", p0 = p0, p1 = p1, a = a, power = power),
    c(textbook = ceiling(book), first = i, flag = c[i], power = pw[i], false = fa[i], lasting = l, lastingFlag = c[l]), 1e-9)
}
hot(.1, .3, .05, .8); hot(.05, .2, .01, .9); hot(.2, .4, .05, .9); hot(.01, .1, .05, .8); hot(.5, .6, .005, .8)

# Finding one: the hypergeometric distribution; of very many the binomial.
find <- function(units, above, conf) {
  p <- 1 - dhyper(0, above, units - above, 1:units); n <- which(p >= conf)[1]
  add(sprintf("one of %g among %g", above, units), list(kind = "find", units = units, above = above, conf = conf), c(homes = n, chance = p[n], half = p[units %/% 2]), 1e-9)
}
find(20, 2, .95); find(20, 1, .95); find(15, 1, .8); find(300, 15, .95); find(5000, 250, .99)
for (p in c(.01, .05, .1)) add(sprintf("one where %g are above", p), list(kind = "many", p = p, conf = .95), c(homes = which(1 - (1 - p)^(1:1000) >= .95)[1]), 1e-12)

cat(toJSON(list(source = "dbinom, pbinom, qbinom, dhyper, qt, pchisq, power.t.test and integrate of R; Wilson 1927, Land 1971, Zou, Taleban and Huo 2009 for the intervals; n = 385 is common practice, and 299, 59 and 29 stand in tables of zero failures",
  made_by = "testdata/reference/plan.R", with = R.version.string, cases = cases), auto_unbox = TRUE, digits = NA), "\n", sep = "")
