# One year's mean without a mitigation system and with it, and their ratio, as one
# dense Gaussian over every day of both, in base R: the same model as Pair of package
# analysis/temporal, with no filter.
# Prints JSON: Rscript pair.R > pair.json
suppressMessages(library(jsonlite))

regressors <- function(d) {
  w <- 2 * pi * d / 365.25
  cbind(cos(w), sin(w), cos(2 * w), sin(2 * w))
}

pair <- function(input) {
  obs <- input$observations
  work <- input$work
  lo <- min(input$from, obs$first)
  hi <- max(input$to - 1, obs$last)
  days <- lo:hi
  n <- length(days)
  X <- regressors(days)
  level <- mean(obs$log[!obs$worked])
  vlevel <- 1000                      # flat, and the step as well
  if (!is.null(input$prior)) { level <- input$prior$mean; vlevel <- input$prior$sd^2 }
  step <- mean(obs$log[obs$worked]) - level
  season <- X %*% diag(input$season_sd^2) %*% t(X)
  lag <- abs(outer(days, days, "-"))
  drift <- 0
  for (i in seq_len(nrow(input$drift))) drift <- drift + input$drift$variance[i] * exp(-lag / input$drift$days[i])
  # The days without the system stand first, then the same days with it.
  common <- function(a, b, c, d) vlevel + a * b * season + c * d * drift
  s <- work$season
  k <- work$drift
  K <- rbind(cbind(common(1, 1, 1, 1), common(1, s, 1, k)),
    cbind(common(s, 1, k, 1), common(s, s, k, k) + 1000 + work$own_season * season + work$own_drift * drift))
  known <- as.vector(X %*% input$season_mean)
  m0 <- c(level + known, level + step + s * known)
  q <- nrow(obs)
  D <- outer(obs$detector, seq_along(input$detectors) - 1, "==") * 1
  W <- matrix(0, q, 2 * n)
  for (i in seq_len(q)) {
    part <- rep(1, obs$last[i] - obs$first[i] + 1)
    part[1] <- obs$first_share[i]
    part[length(part)] <- obs$last_share[i]
    if (obs$first[i] == obs$last[i]) part <- 1
    W[i, obs$first[i]:obs$last[i] - lo + 1 + n * obs$worked[i]] <- part / sum(part)
  }
  share <- W
  len <- obs$last - obs$first + 1
  R <- diag(obs$variance + input$day_noise^2 / len, q) + D %*% diag(input$detectors^2, length(input$detectors)) %*% t(D)
  off <- rep(0, q)
  for (pass in 1:500) {
    KW <- K %*% t(W)
    S <- W %*% KW + R
    m <- m0 + as.vector(KW %*% solve(S, obs$log - off - W %*% m0))
    V <- K - KW %*% solve(S, t(KW))
    change <- 0
    for (i in which(len > 1)) { # the mean of a stretch is of C, not of ln C
      e <- share[i, ] * exp(m + diag(V) / 2)
      w <- e / sum(e)
      o <- log(sum(e)) - as.vector(t(W[i, ]) %*% V %*% W[i, ]) / 2 - sum(w * m)
      change <- max(change, abs(w - W[i, ]), abs(o - off[i]))
      W[i, ] <- W[i, ] + 0.7 * (w - W[i, ])
      off[i] <- off[i] + 0.7 * (o - off[i])
    }
    if (change < 1e-8) break
  }
  year <- (input$from:(input$to - 1)) - lo + 1
  of <- function(at) { e <- exp(m[at] + diag(V)[at] / 2); list(mean = mean(e), w = e / sum(e)) }
  a <- of(year)
  b <- of(year + n)
  v <- function(x, y, at, bt) as.vector(t(x) %*% V[at, bt] %*% y)
  va <- v(a$w, a$w, year, year)
  vb <- v(b$w, b$w, year + n, year + n)
  without <- log(a$mean) - va / 2
  with <- log(b$mean) - vb / 2
  list(without = without, without_sd = sqrt(va), with = with, with_sd = sqrt(vb), log_ratio = with - without,
    ratio_sd = sqrt(va + vb - 2 * v(a$w, b$w, year, year + n)))
}

drift <- data.frame(days = c(1, 6, 40, 150), variance = c(0.22, 0.095, 0.042, 0.012))
base <- list(season_mean = c(0.26, 0.07, 0, 0), season_sd = c(0.18, 0.16, 0.08, 0.08), drift = drift, day_noise = 0.05, detectors = 0.05)
monitor <- function(first, n, worked, level, detector = 0, skip = integer(0), phase = 0) {
  d <- setdiff(first + seq_len(n) - 1, skip)
  data.frame(first = d, last = d, first_share = 1, last_share = 1, log = level + 0.3 * sin(d / 5 + phase) + 0.1 * cos(d * 1.7), variance = 0.002, detector = detector, worked = worked)
}
stretch <- function(first, last, worked, log, variance, detector, a = 1, b = 1)
  data.frame(first = first, last = last, first_share = a, last_share = b, log = log, variance = variance, detector = detector, worked = worked)
case <- function(name, observations, from, to, rel = 2e-7, ...) {
  input <- c(modifyList(base, list(...)), list(observations = observations, from = from, to = to))
  list(name = name, input = input, want = pair(input), rel = rel)
}
# A system that leaves the ratio r of the annual mean: see WorkOf.
work <- function(r) list(season = r^2, own_season = 0.45 * (1 - r), drift = (1 + r) / 2, own_drift = 0.2 * (1 - r))
cases <- list(
  case("a month of day means before and three weeks after, one monitor", rbind(monitor(19737, 30, FALSE, 5.6), monitor(19770, 21, TRUE, 4.2)), 19570, 19935, work = work(0.25)),
  case("ten days in winter and a hundred from summer on, two monitors", rbind(monitor(19737, 10, FALSE, 6), monitor(19890, 100, TRUE, 3.4, 1, 19930:19940)), 19665, 20030, work = work(0.1), detectors = c(0.05, 0.08)),
  case("a week on each side and an area prior", rbind(monitor(19800, 7, FALSE, 5.9), monitor(19812, 7, TRUE, 4.1, phase = 2)), 19630, 19995, work = work(0.3), prior = list(mean = 4.2, sd = 0.9)),
  case("three months integrated before, a fortnight of day means after", rbind(stretch(19650, 19741, FALSE, 5.9, 0.0064, 0, 0.4, 0.6), monitor(19760, 14, TRUE, 3.9, 1)), 19530, 19895, rel = 1e-6, work = work(0.15), detectors = c(0, 0.05)),
  case("three months integrated on each side, two detectors", rbind(stretch(19650, 19741, FALSE, 5.9, 0.0064, 0), stretch(19765, 19856, TRUE, 4.4, 0.0064, 1)), 19570, 19935, rel = 1e-6, work = work(0.3), detectors = c(0.03, 0.03)),
  case("no change at all", rbind(monitor(19737, 20, FALSE, 5), monitor(19760, 20, TRUE, 5)), 19570, 19935, work = work(1)),
  case("swings that a system makes larger", rbind(monitor(19700, 40, FALSE, 5), monitor(19750, 40, TRUE, 4.5)), 19540, 19905, work = list(season = 1.4, own_season = 0.1, drift = 1.2, own_drift = 0.3))
)
cat(toJSON(list(source = "the model of analysis/temporal as a dense multivariate normal; conditional distribution of a normal, e.g. Anderson 2003, An Introduction to Multivariate Statistical Analysis, section 2.5",
  made_by = "testdata/reference/pair.R", with = paste("R", paste(R.version$major, R.version$minor, sep = "."), "base, jsonlite for printing"),
  cases = cases), auto_unbox = TRUE, digits = NA), "\n", sep = "")
