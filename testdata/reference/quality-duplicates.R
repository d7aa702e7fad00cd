# Precision of one detector from pairs, for quality.Duplicates: the variance of d = ln A
# - ln B by an analysis of variance within pairs (base R's aov), and its limits by
# chi-squared; and the ratio of the two by t.test on d. The pairs are invented.
# Prints JSON: Rscript quality-duplicates.R > quality-duplicates.json
suppressMessages(library(jsonlite))
cases <- list()
add <- function(name, a, b, confidence) {
  n <- length(a)
  y <- log(c(a, b)); pair <- factor(rep(seq_len(n), 2))
  s2 <- if (n > 1) summary(aov(y ~ pair))[[1]]["Residuals", "Mean Sq"] else (log(a) - log(b))^2 / 2
  cv <- function(v) 100 * sqrt(exp(v) - 1)
  q <- qchisq(c(1 + confidence, 1 - confidence) / 2, n)
  want <- list(value = cv(s2), lower = cv(s2 * n / q[1]), upper = cv(s2 * n / q[2]))
  if (n > 1) {
    t <- t.test(log(a), log(b), paired = TRUE, conf.level = confidence)
    want <- c(want, list(ratio = exp(mean(log(a) - log(b))), ratio_lower = exp(t$conf.int[1]), ratio_upper = exp(t$conf.int[2])))
  }
  cases[[length(cases) + 1]] <<- list(name = name, input = list(a = I(a), b = I(b), confidence = confidence), want = want, rel = 1e-9)
}
add("one pair", 120, 131, 0.95)
add("four pairs", c(100, 210, 55, 800), c(120, 190, 50, 760), 0.9)
set.seed(11, kind = "Mersenne-Twister", normal.kind = "Inversion")
m <- rlnorm(40, 4.5, 1)
add("forty pairs", round(m * rlnorm(40, 0, 0.12), 1), round(m * rlnorm(40, 0, 0.12), 1), 0.95)
cat(toJSON(list(source = "base R's aov within pairs, t.test and qchisq", made_by = "testdata/reference/quality-duplicates.R", with = R.version.string,
  cases = cases), auto_unbox = TRUE, digits = NA), "\n")
