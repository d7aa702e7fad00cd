# The mean by regression on order statistics where values lie below limits, written out
# from Helsel and Cohn 1988: the share at each limit or above, one limit at a time by
# counting, the ranks one value at a time, the line by lm. Where there is one limit and no
# known value under it, the ranks of the known values are held to the one formula that is
# then left. The values are invented.
# Prints JSON: Rscript lognormal-order-statistics.R > lognormal-order-statistics.json
suppressMessages(library(jsonlite))

ranks <- function(x, below) {
  limits <- sort(unique(x[below])); m <- length(limits)
  at <- c(0, limits, Inf)
  p <- numeric(m + 2); p[1] <- 1
  for (j in rev(seq_len(m)) + 1) {
    a <- sum(!below & x >= at[j] & x < at[j + 1])
    b <- sum(x < at[j] | (below & x == at[j]))
    p[j] <- p[j + 1] + (1 - p[j + 1]) * a / (a + b)
  }
  r <- numeric(length(x))
  for (i in seq_along(x)) {
    j <- max(which(at <= x[i])) # the highest limit that it reaches
    if (below[i]) {
      same <- which(below & x == x[i])
      r[i] <- (1 - p[j]) * which(same == i) / (length(same) + 1)
    } else {
      same <- which(!below & x >= at[j] & x < at[j + 1])
      same <- same[order(x[same], same)]
      r[i] <- 1 - p[j] + (p[j] - p[j + 1]) * which(same == i) / (length(same) + 1)
    }
  }
  r
}
cases <- list()
add <- function(name, x, below) {
  r <- ranks(x, below); z <- qnorm(r)
  if (length(unique(x[below])) == 1 && all(x[!below] >= x[below][1])) {
    k <- sum(!below); n <- length(x)
    stopifnot(all.equal(sort(r[!below]), 1 - k / n + k / n * (1:k) / (k + 1)))
  }
  line <- coef(lm(log(x) ~ z, subset = !below))
  filled <- ifelse(below, exp(line[1] + line[2] * z), x)
  cases[[length(cases) + 1]] <<- list(name = name, input = list(x = x, below = below), rel = 1e-9,
    want = list(mean = mean(filled), mean_log = line[[1]], sd_log = line[[2]]))
}
set.seed(8, kind = "Mersenne-Twister", normal.kind = "Inversion")
add("two limits, out of order", c(40, 10, 30, 20), c(FALSE, TRUE, TRUE, FALSE))
add("one limit under all known values", c(20, 20, 20, 31, 45, 52, 130, 300), c(TRUE, TRUE, TRUE, FALSE, FALSE, FALSE, FALSE, FALSE))
add("limits among the values, one as high as a value, values twice", c(10, 25, 25, 40, 8, 70, 33, 100, 33, 25), c(TRUE, FALSE, TRUE, TRUE, FALSE, FALSE, FALSE, FALSE, FALSE, TRUE))
add("a limit over all known values", c(15, 22, 60, 31, 60, 12), c(FALSE, FALSE, TRUE, FALSE, TRUE, FALSE))
x <- round(rlnorm(40, 4, 0.9), 1); limit <- c(20, 50, 90)[sample(3, 40, TRUE)]
add("40, three limits", ifelse(x < limit, limit, x), x < limit)
x <- round(rlnorm(60, 3.5, 1.2), 1); limit <- round(runif(60, 10, 60))
add("60, each with a limit of its own", ifelse(x < limit, limit, x), x < limit)
cat(toJSON(list(source = "Helsel and Cohn 1988, Water Resour. Res. 24:1997 (from memory), by a second program",
  made_by = "testdata/reference/lognormal-order-statistics.R", with = R.version.string, cases = cases), auto_unbox = TRUE, digits = NA), "\n")
