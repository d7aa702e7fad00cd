# What a survey says by the way its homes were drawn: R's survey package. All data are
# invented below. Prints JSON: Rscript survey-design.R > survey-design.json
#
# Raking: the package regresses linearised values on the margins by the weights from
# before. Calibrated a second time, its weights from before are those from after, so that
# the regression is by the final weights, as the derivative of a raked figure has it. That
# derivative is also taken by base R alone: raking again with each weight changed a little.
suppressMessages({library(jsonlite); library(survey); library(survival)})
set.seed(1998, kind = "Mersenne-Twister", normal.kind = "Inversion", sample.kind = "Rejection")

cases <- list()
add <- function(name, input, want, rel = 1e-9) cases[[length(cases) + 1]] <<- list(name = name, input = input, want = as.list(want), rel = rel)
level <- 200

## A community: three strata, clusters of unequal size, areas and kinds that cross them.
d <- do.call(rbind, lapply(1:3, function(h) {
  sizes <- list(c(4, 7, 3, 5), c(6, 2, 5, 4, 3), c(5, 8, 6))[[h]]
  do.call(rbind, lapply(seq_along(sizes), function(k) {
    centre <- c(3.9, 4.4, 4.9)[h] + rnorm(1, 0, .4)
    data.frame(stratum = paste0("s", h), cluster = paste0("c", k), y = round(exp(centre + rnorm(sizes[k], 0, .8)), 1),
      w = c(100, 40, 15)[h] * round(runif(1, .8, 1.6), 2))
  }))
}))
d$area <- sample(c("East", "North", "West"), nrow(d), TRUE, c(.2, .5, .3))
d$kind <- sample(c("flat", "house"), nrow(d), TRUE)
d$id <- paste(d$stratum, d$cluster)
d$home <- seq_len(nrow(d))
d$log <- log(d$y); d$above <- as.numeric(d$y > level)
input <- function(x, ...) c(list(stratum = x$stratum, cluster = x$cluster, w = x$w, y = x$y, area = x$area, kind = x$kind), list(...))

figures <- function(s, n = nrow(s)) {
  m <- svymean(~ y + log + above, s); t <- svytotal(~ above, s); se <- sqrt(diag(vcov(m))); df <- degf(s)
  p <- coef(m)[[3]]; q <- qt(.975, df)
  # The package's effective number, bounded by the number of homes.
  eff <- p * (1 - p) / se[[3]]^2 * (qt(.025, n - 1) / qt(.025, df))^2
  b <- if (eff <= n && n == nrow(s)) as.numeric(confint(svyciprop(~ above, s, method = "beta"))) else { k <- min(eff, n); c(qbeta(.025, k * p, k * (1 - p) + 1), qbeta(.975, k * p + 1, k * (1 - p))) }
  c(df = df, am = coef(m)[[1]], amLower = coef(m)[[1]] * exp(-q * se[[1]] / coef(m)[[1]]), amUpper = coef(m)[[1]] * exp(q * se[[1]] / coef(m)[[1]]),
    gm = exp(coef(m)[[2]]), gmLower = exp(confint(m, df = df)[2, 1]), gmUpper = exp(confint(m, df = df)[2, 2]),
    share = p, se = se[[3]], shareLower = b[1], shareUpper = b[2], effective = min(eff, n), total = coef(t)[[1]])
}
# The number of dwellings above: the share's limits, widened by what the variance of the
# number adds to that of the share.
both <- function(s) { f <- figures(s); t <- svytotal(~ above, s); q <- qt(.975, degf(s))
  r2 <- max(0, (SE(t)[[1]] / coef(t)[[1]])^2 - (f[["se"]] / f[["share"]])^2)
  c(f, totalLower = coef(t)[[1]] * exp(-sqrt(log(f[["share"]] / f[["shareLower"]])^2 + q^2 * r2)), totalUpper = coef(t)[[1]] * exp(sqrt(log(f[["shareUpper"]] / f[["share"]])^2 + q^2 * r2))) }

## Homes drawn within strata, from a number that is known
srs <- d; srs$N <- c(s1 = 400, s2 = 150, s3 = 60)[srs$stratum]; srs$w <- srs$N / ave(srs$w, srs$stratum, FUN = length)
srs$cluster <- ""
s <- svydesign(~ home, strata = ~ stratum, weights = ~ w, fpc = ~ N, data = srs)
add("strata, finite", input(srs, populations = list(s1 = 400, s2 = 150, s3 = 60)), figures(s))
add("strata", input(srs), figures(svydesign(~ home, strata = ~ stratum, weights = ~ w, data = srs)))

## Clusters within strata, weights that differ; and homes within clusters as a second stage
clu <- svydesign(~ id, strata = ~ stratum, weights = ~ w, data = d)
add("clusters", input(d), both(clu))
two <- svydesign(~ id + home, strata = ~ stratum, weights = ~ w, data = d)
stopifnot(isTRUE(all.equal(both(two), both(clu))))
add("clusters, finite", input(d, populations = list(s1 = 11, s2 = 20, s3 = 9)),
  both(svydesign(~ id, strata = ~ stratum, weights = ~ w, data = transform(d, N = c(s1 = 11, s2 = 20, s3 = 9)[stratum]), fpc = ~ N)))
one <- svydesign(~ home, weights = ~ w, data = d)
add("weights alone", input(transform(d, stratum = "", cluster = "")), both(one))

## Domains of it
for (a in sort(unique(d$area))) {
  s <- subset(clu, area == a); f <- both(s)
  add(paste("domain", a), input(d), f)
}

## Known dwellings of areas, and of areas and kinds
areas <- data.frame(area = c("East", "North", "West"), Freq = c(700, 1500, 900))
kinds <- data.frame(kind = c("flat", "house"), Freq = c(1200, 1900))
margin <- function(x) setNames(as.list(x$Freq), x[[1]])
post <- postStratify(clu, ~ area, areas)
add("post-stratified", input(d, margins = list(area = margin(areas))), figures(post))
# A part of a calibrated design keeps the other rows with a weight of zero, so its homes are counted here.
f <- figures(subset(post, kind == "house"), sum(d$kind == "house")); add("post-stratified, domain house", input(transform(d, kind = area, area = kind), margins = list(kind = margin(areas))), f)

ipf <- function(w) { for (i in 1:500) { w <- w * areas$Freq[match(d$area, areas$area)] / ave(w, d$area, FUN = sum); w <- w * kinds$Freq[match(d$kind, kinds$kind)] / ave(w, d$kind, FUN = sum) }; w }
population <- c(`(Intercept)` = 3100, areaNorth = 1500, areaWest = 900, kindhouse = 1900)
once <- calibrate(clu, ~ area + kind, population, calfun = "raking", epsilon = 1e-13, maxit = 200)
stopifnot(max(abs(weights(once) / ipf(d$w) - 1)) < 1e-9)
d2 <- d; d2$w <- ipf(d$w)
twice <- calibrate(svydesign(~ id, strata = ~ stratum, weights = ~ w, data = d2), ~ area + kind, population, calfun = "raking", epsilon = 1e-13, maxit = 200)
raked <- figures(twice)
mean1 <- function(w) { w <- ipf(w); sum(w * d$above) / sum(w) }
influence <- sapply(seq_along(d$w), function(i) { h <- d$w[i] * 1e-4; up <- down <- d$w; up[i] <- up[i] + h; down[i] <- down[i] - h; (mean1(up) - mean1(down)) / (2 * h) })
byhand <- sqrt(sum(tapply(seq_along(d$w), d$stratum, function(i) { t <- tapply(d$w[i] * influence[i], d$id[i], sum); length(t) * var(t) })))
stopifnot(abs(byhand / raked[["se"]] - 1) < 1e-6)
add("raked", input(d, margins = list(area = margin(areas), kind = margin(kinds))), raked)
add("raked, weights", input(d, margins = list(area = margin(areas), kind = margin(kinds))), setNames(ipf(d$w), paste0("w", seq_along(d$w))))

## A stratum with one cluster
lone <- d[d$stratum != "s3" | d$cluster == "c2", ]
for (how in c("centre", "certainty")) {
  options(survey.lonely.psu = c(centre = "adjust", certainty = "certainty")[[how]])
  add(paste("lonely,", how), input(lone, lonely = how), figures(svydesign(~ id, strata = ~ stratum, weights = ~ w, data = lone)))
}
options(survey.lonely.psu = "fail")

## Homes below a limit: the weighted likelihood of the log-normal
cens <- d; cens$limit <- ifelse(cens$home %% 2 == 0, 40, 25); cens$below <- as.numeric(cens$y < cens$limit); cens$y <- pmax(cens$y, cens$limit)
m <- survreg(Surv(y, !below, type = "left") ~ 1, cens, weights = w, dist = "lognormal", control = survreg.control(rel.tolerance = 1e-13, maxiter = 100))
infl <- residuals(m, "dfbeta", weighted = TRUE)[, 1]
se <- sqrt(sum(tapply(seq_len(nrow(cens)), cens$stratum, function(i) { t <- tapply(infl[i], cens$id[i], sum); length(t) * var(t) })))
q <- qt(.975, degf(clu))
add("below a limit", input(cens, below = cens$below), c(gm = exp(coef(m)[[1]]), gmLower = exp(coef(m)[[1]] - q * se), gmUpper = exp(coef(m)[[1]] + q * se)), 1e-6)

cat(toJSON(list(
  source = "survey (Lumley 2004, J. Stat. Softw. 9(8)): Taylor linearisation, its beta interval, post-stratification and raking; survival's survreg for homes below limits; data invented in the script",
  made_by = "testdata/reference/survey-design.R", with = paste0(R.version.string, ", survey ", packageVersion("survey"), ", survival ", packageVersion("survival")),
  cases = cases), auto_unbox = TRUE, digits = NA), "\n")
