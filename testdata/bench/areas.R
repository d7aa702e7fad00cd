# The area model's restricted likelihood by lme4, for the time it takes beside ours:
# 50,000 homes in 1,000 areas with a covariate, drawn as BenchmarkFit draws them.
# Rscript testdata/bench/areas.R
suppressMessages(library(lme4))
set.seed(1)
area <- rep(1:1000, each = 50)
x <- rbinom(50000, 1, 0.5)
y <- 4 + 0.4 * rnorm(1000)[area] - 0.5 * x + 0.8 * rnorm(50000)
d <- data.frame(y, x, area = factor(area))
for (i in 1:3) {
  t <- system.time(m <- lmer(y ~ x + (1 | area), data = d, REML = TRUE))
  cat(sprintf("lme4 %s: %.2f s elapsed, %.2f s of processor\n", packageVersion("lme4"), t[["elapsed"]], t[["user.self"]] + t[["sys.self"]]))
}
print(VarCorr(m))
