# The default mean of an autocorrelated series with its interval, from the formula as
# the methods command prints it: restricted likelihoods by dense matrices at each place
# of the grid, and of those about the top where it is too coarse, a mixture of Student's
# distributions, its quantiles by uniroot; and the cosine sums written out. Once more
# over three times as many correlation times, for the long series shares too, which says
# what the coarse grid costs. The series are invented.
# Prints JSON: Rscript serial-mean.R > serial-mean.json
suppressMessages(library(jsonlite))
set.seed(11, kind = "Mersenne-Twister", normal.kind = "Inversion")

cases <- list()
add <- function(name, input, want, rel) cases[[length(cases) + 1]] <<- list(name = name, input = input, want = as.list(want), rel = rel)

made <- function(t, tau, noise, day = 0) {
  x <- numeric(length(t)); x[1] <- rnorm(1)
  for (i in seq_along(t)[-1]) { f <- exp(-(t[i] - t[i - 1]) / tau); x[i] <- f * x[i - 1] + sqrt(1 - f^2) * rnorm(1) }
  round(100 + 20 * x + 20 * noise * rnorm(length(t)) + day * cos(2 * pi * t / 24), 1)
}

logits <- c(-8, -5, -3.25, -2, -1, 0, 1, 2, 3.5)

answer <- function(y, t, times = 12, confidence = 0.95, z = logits) {
  n <- length(y); plain <- mean(y); spread <- sd(y)
  if (median(diff(t)) <= 4 && t[n] - t[1] + median(diff(t)) >= 72) {
    a <- 2 * pi * (t - t[1]) / 24
    d <- cbind(cos(a), sin(a), cos(2 * a), sin(2 * a))
    y <- y - drop(d %*% coef(lm(y ~ d))[-1])
  }
  lag <- abs(outer(t, t, "-"))
  pass <- function(x, z) {
    w <- 1 / (1 + exp(-z))
    V <- (1 - w) * exp(-lag / exp(x)) + w * diag(n)
    U <- chol(V); P <- chol2inv(U)
    q <- sum(P); m <- sum(P %*% y) / q; v <- drop(t(y - m) %*% P %*% (y - m)) / (n - 1)
    c(x = x, z = z, m = m, se = sqrt(v / q), l = -((n - 1) * log(v) + 2 * sum(log(diag(U))) + log(q)) / 2)
  }
  look <- function(x, z) t(mapply(pass, rep(x, each = length(z)), rep(z, length(x))))
  least <- log(min(diff(t)) / 2); most <- log((t[n] - t[1]) / 2)
  at <- look(least + (most - least) * (1:times - 0.5) / times, z)
  # Where that is too coarse, as many places about the top.
  inside <- function(p) c(min(max(p[1], least), most), min(max(p[2], z[1]), z[length(z)]))
  from <- at[which.max(at[, "l"]), c("x", "z")]
  top <- optim(from, function(p) { p <- inside(p); -pass(p[1], p[2])[["l"]] }, control = list(reltol = 1e-12))
  coarse <- function(at) {
    w <- exp(at[, "l"] - max(at[, "l"])); w <- w / sum(w)
    inner <- function(by) { k <- tapply(w, at[, by], sum); max(k[-c(1, length(k))]) }
    max(inner("x"), inner("z")) > 2 / 3 || max(at[, "l"]) < -top$value - 1
  }
  around <- function(at, by, k, ends) {
    u <- sort(unique(at[, by])); used <- c(at[at[, "l"] > -top$value - 10, by], inside(top$par)[k])
    seq(max(ends[1], u[u < min(used)]), min(ends[2], u[u > max(used)]), length.out = length(u))
  }
  closer <- 0
  while (closer < 4 && coarse(at)) {
    at <- look(around(at, "x", 1, c(least, most)), around(at, "z", 2, range(z)))
    closer <- closer + 1
  }
  w <- exp(at[, "l"] - max(at[, "l"])); w <- w / sum(w)
  m <- sum(w * at[, "m"])
  sd <- sqrt(sum(w * (at[, "se"]^2 + (at[, "m"] - m)^2)))
  q <- function(p) uniroot(function(x) sum(w * pt((x - at[, "m"]) / at[, "se"], n - 1)) - p, m + c(-1, 1) * 30 * sd, tol = 1e-12)$root
  lo <- q((1 - confidence) / 2); hi <- q((1 + confidence) / 2)
  s2 <- 0
  for (j in 1:8) s2 <- s2 + 2 / n * sum(y * cos(pi * j * (1:n - 0.5) / n))^2
  half <- qt((1 + confidence) / 2, 8) * sqrt(s2 / (8 * n))
  # The cycle is taken off about its own mean, so the values' mean may move by a hair.
  list(likelihood = c(value = m, lower = m * exp((lo - m) / m), upper = m * exp((hi - m) / m)),
    cosine = c(value = plain, lower = plain * exp(-half / plain), upper = plain * exp(half / plain)),
    naive = qt((1 + confidence) / 2, n - 1) * spread / sqrt(n), wider = half / ((hi - lo) / 2) > 1.2, closer = closer)
}
series <- function(name, t, y, each, closer = 0, z = logits, rel = 1e-2) {
  input <- list(t = t, y = y, hours = each)
  a <- answer(y, t)
  stopifnot(a$closer == closer) # grids that follow the first
  given <- if (a$wider) a$cosine else a$likelihood
  width <- given[["value"]] * log(given[["upper"]] / given[["lower"]]) / 2
  # The k at which independent readings of the same spread would have that interval.
  wider <- function(k) qt(0.975, k - 1) / sqrt(k) - width / sd(y)
  n <- length(y)
  effective <- if (wider(2) <= 0) 2 else if (wider(n) >= 0) n else uniroot(wider, c(2, n), tol = 1e-12)$root
  add(paste("mean:", name), input, c(given = given, likelihood = a$likelihood, cosine = a$cosine, effective = effective), 1e-6)
  f <- answer(y, t, 36, z = z)
  add(paste("finer grid:", name), input, c(likelihood = f$likelihood), rel)
  f <- answer(y, t, confidence = 0.8)
  add(paste("at 80 %:", name), c(input, confidence = 0.8), c(likelihood = f$likelihood, cosine = f$cosine), 1e-6)
}
t <- 0:59; series("60 hours", t, made(t, 2, 0.5), 1)
t <- sort(sample(0:239, 150)); series("150 hours of 240, with a daily cycle", t, made(t, 5, 0.7, 25), 1)
t <- cumsum(c(0, rep(c(24, 48), 45))); series("91 days, every second twice as far", t, made(t, 60, 0.3), 24)
t <- 24 * (0:39); series("40 days that resemble each other a little", t, made(t, 20, 0.2), 24)
set.seed(13); t <- 0:239; series("240 hours, for which the grid is too coarse", t, made(t, 3, 0.2), 1, closer = 1, z = approx(logits, n = 25)$y, rel = 1e-3)

cat(toJSON(list(source = "the formula of autoregressive-mean and cosine-mean (Harville 1977, J. Am. Stat. Assoc. 72:320, for restricted likelihood; Mueller 2007, J. Econom. 141:1331, for cosine weights; both from memory), by dense matrices in base R",
  made_by = "testdata/reference/serial-mean.R", with = R.version.string, cases = cases), auto_unbox = TRUE, digits = NA), "\n", sep = "")
