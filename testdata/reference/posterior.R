# The annual mean of a home as one dense Gaussian, in base R: the same model as
# package analysis/temporal, written out over every day with no filter.
# Prints JSON: Rscript posterior.R > posterior.json
suppressMessages(library(jsonlite))

regressors <- function(d) {
  w <- 2 * pi * d / 365.25
  cbind(cos(w), sin(w), cos(2 * w), sin(2 * w))
}

posterior <- function(input) {
  obs <- input$observations
  lo <- min(input$from, obs$first)
  hi <- max(input$to - 1, obs$last)
  days <- lo:hi
  n <- length(days)
  X <- regressors(days)
  centre <- mean(obs$log)
  level <- centre
  vlevel <- 1000                      # flat
  if (!is.null(input$prior)) { level <- input$prior$mean; vlevel <- input$prior$sd^2 }
  K <- vlevel + X %*% diag(input$season_sd^2) %*% t(X)
  lag <- abs(outer(days, days, "-"))
  for (i in seq_len(nrow(input$drift))) K <- K + input$drift$variance[i] * exp(-lag / input$drift$days[i])
  m0 <- level + as.vector(X %*% input$season_mean)
  k <- nrow(obs)
  D <- outer(obs$detector, seq_along(input$detectors) - 1, "==") * 1
  W <- matrix(0, k, n)
  for (i in seq_len(k)) {
    s <- rep(1, obs$last[i] - obs$first[i] + 1)
    s[1] <- obs$first_share[i]
    s[length(s)] <- obs$last_share[i]
    if (obs$first[i] == obs$last[i]) s <- 1
    W[i, obs$first[i]:obs$last[i] - lo + 1] <- s / sum(s)
  }
  share <- W
  len <- obs$last - obs$first + 1
  R <- diag(obs$variance + input$day_noise^2 / len, k) + D %*% diag(input$detectors^2, length(input$detectors)) %*% t(D)
  off <- rep(0, k)
  for (pass in 1:500) {
    KW <- K %*% t(W)
    S <- W %*% KW + R
    m <- m0 + as.vector(KW %*% solve(S, obs$log - off - W %*% m0))
    V <- K - KW %*% solve(S, t(KW))
    change <- 0
    for (i in which(len > 1)) {
      e <- share[i, ] * exp(m + diag(V) / 2)
      w <- e / sum(e)
      q <- as.vector(t(W[i, ]) %*% V %*% W[i, ])
      o <- log(sum(e)) - q / 2 - sum(w * m)
      change <- max(change, abs(w - W[i, ]), abs(o - off[i]))
      W[i, ] <- W[i, ] + 0.7 * (w - W[i, ])
      off[i] <- off[i] + 0.7 * (o - off[i])
    }
    if (change < 1e-8) break
  }
  at <- (input$from:(input$to - 1)) - lo + 1
  e <- exp(m[at] + diag(V)[at] / 2)
  w <- e / sum(e)
  s2 <- as.vector(t(w) %*% V[at, at] %*% w)
  list(log_median = log(mean(e)) - s2 / 2, log_sd = sqrt(s2), mean = mean(e))
}

drift <- data.frame(days = c(1, 6, 40, 150), variance = c(0.22, 0.095, 0.042, 0.012))
base <- list(season_mean = c(0.26, 0.07, 0, 0), season_sd = c(0.18, 0.16, 0.08, 0.08), drift = drift, day_noise = 0.05, detectors = 0.05)
monitor <- function(first, n, detector = 0, skip = integer(0), phase = 0) {
  d <- setdiff(first + seq_len(n) - 1, skip)
  data.frame(first = d, last = d, first_share = 1, last_share = 1, log = 4.8 + 0.3 * sin(d / 5 + phase) + 0.1 * cos(d * 1.7), variance = 0.002, detector = detector)
}
stretch <- function(first, last, log, variance, detector, a = 1, b = 1)
  data.frame(first = first, last = last, first_share = a, last_share = b, log = log, variance = variance, detector = detector)
case <- function(name, observations, from, to, rel = 2e-7, ...) {
  input <- c(modifyList(base, list(...)), list(observations = observations, from = from, to = to))
  list(name = name, input = input, want = posterior(input), rel = rel)
}
cases <- list(
  case("a week of day means in January", monitor(19737, 7), 19558, 19923),
  case("two months in summer with gaps, two detectors", rbind(monitor(19890, 60, 0, 19900:19912), monitor(19920, 20, 1, phase = 1)), 19738, 20103, detectors = c(0.05, 0.08)),
  case("a week and an area prior", monitor(19800, 7), 19621, 19986, prior = list(mean = 4.2, sd = 0.9)),
  case("a whole year", monitor(19600, 365), 19600, 19965),
  case("three months integrated", stretch(19650, 19741, 5.1, 0.0064, 0, 0.4, 0.6), 19513, 19878, rel = 1e-6),
  case("a month integrated and a week of day means in another season", rbind(stretch(19650, 19680, 5.1, 0.01, 1), monitor(19840, 7)), 19560, 19925, rel = 1e-6, detectors = c(0.05, 0))
)
cat(toJSON(list(source = "the model of analysis/temporal as a dense multivariate normal; conditional distribution of a normal, e.g. Anderson 2003, An Introduction to Multivariate Statistical Analysis, section 2.5",
  made_by = "testdata/reference/posterior.R", with = paste("R", paste(R.version$major, R.version$minor, sep = "."), "base, jsonlite for printing"),
  cases = cases), auto_unbox = TRUE, digits = NA), "\n", sep = "")
