# What every notebook here begins with: the program, its answers as R objects, one
# look for the figures, and a way to hold what the text says.
#
# A notebook works in a temporary folder. It reads nothing outside the checkout, and
# no path of the machine reaches its output.
options(warn = 2, digits = 7, width = 88, scipen = 100, stringsAsFactors = FALSE)
options(jupyter.plot_mimetypes = "image/png", bitmapType = "cairo",
        repr.plot.width = 7, repr.plot.height = 4, repr.plot.res = 110)
# The three together are R's own since 3.6, named so that a later default changes nothing.
RNGkind("Mersenne-Twister", "Inversion", "Rejection")
suppressPackageStartupMessages(library(jsonlite))

checkout <- normalizePath("..")
setwd({ work <- tempfile("notebook"); dir.create(work); work })

# radonyear runs the program and returns the lines of its standard output. Any exit
# status but those expected is an error that quotes what the program said.
radonyear <- function(..., status = 0) {
  words <- c(...)
  out <- tempfile(); err <- tempfile()
  got <- system2("radonyear", shQuote(words), stdout = out, stderr = err)
  if (!got %in% status)
    stop("radonyear ", paste(words, collapse = " "), ": status ", got, "\n", paste(readLines(err), collapse = "\n"))
  readLines(out, encoding = "UTF-8")
}

# console shows a command with what it prints, as a terminal would.
console <- function(..., status = 0, lines = TRUE) {
  out <- radonyear(..., status = status)
  cat("$ radonyear", c(...), "\n")
  cat(out[if (isTRUE(lines)) seq_along(out) else lines], sep = "\n")
}

# ask is the same command's JSON; a table in it becomes a data frame, with columns
# such as annual_mean.value.
ask <- function(..., status = 0, table = TRUE)
  fromJSON(paste(radonyear(..., "--format", "json", status = status), collapse = "\n"),
           simplifyVector = table, flatten = table)

# rows is the same command's CSV.
rows <- function(..., status = 0)
  read.csv(text = radonyear(..., "--format", "csv", status = status), check.names = FALSE)

# put writes a CSV file into the working folder.
put <- function(data, file) write.csv(data, file, row.names = FALSE, quote = FALSE)

# percent is a probability as people read it: nothing is certain, and 1e-30 is no news.
percent <- function(p) ifelse(p < 0.001, "<0.1", ifelse(p > 0.999, ">99.9", format(signif(100 * p, 2), trim = TRUE, drop0trailing = TRUE)))

# listing prints a data frame, numbers with three significant digits.
listing <- function(data) {
  three <- function(x) if (is.numeric(x)) vapply(x, function(v) if (is.na(v)) "" else format(signif(v, 3), drop0trailing = TRUE), "") else x
  print(as.data.frame(lapply(data, three), check.names = FALSE, optional = TRUE), row.names = FALSE)
}

# holds asserts what the text says. A false statement, or one that is not known, stops
# the notebook, and so its run.
holds <- function(...) {
  said <- list(...)
  for (what in names(said)) if (!isTRUE(all(said[[what]]))) stop("not so: ", what)
  cat(paste0("holds: ", names(said), "\n"), sep = "")
}

# canvas is an empty figure: horizontal labels, no box, hardly any ink but the data's.
# Everything is black, grey or white, so that a copy in grey loses nothing.
ink <- c(data = "black", soft = "grey45", fill = "grey85", line = "grey65")
canvas <- function(x, y, xlab, ylab, log = "", xaxt = "s", yaxt = "s", main = "", right = 1) {
  par(mar = c(4.2, 4.6, 2.2, right), las = 1, bty = "n", tcl = -0.25, mgp = c(2.6, 0.5, 0), cex = 0.9)
  plot(range(x), range(y), type = "n", xlab = xlab, ylab = ylab, log = log, xaxt = xaxt, yaxt = yaxt, main = "")
  title(main, adj = 0, font.main = 1, cex.main = 1.05)
}

# bars draws intervals with their middles.
bars <- function(x, lower, value, upper, pch = 19, col = ink[["data"]], ...) {
  segments(x, lower, x, upper, col = col, lwd = 2, ...)
  points(x, value, pch = pch, col = col, bg = "white")
}

# key is a legend whose lines stand apart.
key <- function(...) legend(..., bty = "n", cex = 0.8, y.intersp = 2)
