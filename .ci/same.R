# Whether two files of reference values are the same: to 1e-9, and what a maker's optimiser
# finds, which another processor may end a little beside, to a quarter of the accuracy that
# its case asks of the program ("rel"). Rscript same.R MADE.json KEPT.json
files <- lapply(commandArgs(TRUE), jsonlite::fromJSON, simplifyVector = FALSE)
x <- files[[1]]; y <- files[[2]]
x$with <- y$with <- NULL # versions
fail <- function(what) { print(what); quit(status = 1) }
differ <- function(a, b, tolerance) { same <- all.equal(a, b, tolerance = tolerance); if (!isTRUE(same)) fail(same) }
if (!is.null(names(x)) && is.list(x$cases)) {
  if (length(x$cases) != length(y$cases)) fail("another number of cases")
  for (i in seq_along(x$cases)) {
    rel <- y$cases[[i]]$rel
    differ(x$cases[[i]], y$cases[[i]], max(1e-9, if (is.numeric(rel)) rel / 4 else 0))
  }
  x$cases <- y$cases <- NULL
}
differ(x, y, 1e-9)
