// Package survey answers: what does radon look like across a community, how many
// of its homes are above a level, and in which areas?
//
// Fit and Posterior share one model of the homes' logarithms: an area's homes
// scatter about the area's level, the areas' levels scatter about what covariates
// say of them, and each home's own error is known beforehand and is not mistaken
// for scatter. An area with few homes borrows from all others, as much as the
// data say it should (partial pooling); one without any still has an answer, with
// an honest interval. Values may be below limits or between bounds.
//
// Fit is the restricted likelihood: components of spread, fixed effects, and
// shrunken area levels. Posterior averages over what is not known of the spreads,
// on a grid and without chance, and is the one to read areas from: level, mean,
// share above a level, the probability that the share exceeds so much, rank; and
// the community's distribution. Unpooled is the plain table of areas beside it.
//
// Logarithms are natural ones, of Bq/m³.
package survey
