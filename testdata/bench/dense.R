# What the annual mean of many homes costs as dense Gaussians in base R: a
# Cholesky factor and two solves a home of 365 day means. For comparison with
#   go test -run - -bench Annual -benchtime 1x ./cmd/radonyear
# Rscript dense.R [HOMES]
homes <- as.integer(c(commandArgs(TRUE), "10000")[1])
d <- 0:364
X <- cbind(1, cos(2 * pi * d / 365.25), sin(2 * pi * d / 365.25), cos(4 * pi * d / 365.25), sin(4 * pi * d / 365.25))
lag <- abs(outer(d, d, "-"))
K <- 0.22 * exp(-lag) + 0.095 * exp(-lag / 6) + 0.042 * exp(-lag / 40) + 0.012 * exp(-lag / 150) +
  X %*% diag(c(1000, 0.0324, 0.0256, 0.0064, 0.0064)) %*% t(X)
set.seed(1)
took <- system.time(for (i in seq_len(homes)) {
  y <- 5 + rnorm(365, sd = 0.3)
  R <- chol(K + diag(0.0025 + 1e-4 * runif(365)))       # errors differ, so each home has its own factor
  a <- backsolve(R, forwardsolve(t(R), y - 5))
  m <- 5 + K %*% a
  w <- exp(m) / sum(exp(m))
  v <- sum(w * (K %*% w)) - sum(forwardsolve(t(R), K %*% w)^2)
})
cat(homes, "homes:", round(took[["elapsed"]], 1), "s\n")
