# Reference values for intervals of a proportion and the Poisson-binomial. Run here: Rscript reference.R > expected.json
suppressPackageStartupMessages(library(jsonlite))
x <- c(81, 15, 0, 1, 29, 0, 1, 7, 50, 17, 95); n <- c(263, 148, 20, 29, 29, 10, 10, 8, 50, 25, 100)
ci <- function(f) t(mapply(f, x, n))
wilson <- ci(function(x, n) suppressWarnings(prop.test(x, n, correct = FALSE)$conf.int))
exact <- ci(function(x, n) binom.test(x, n)$conf.int)
jeffreys <- ci(function(x, n) c(if (x == 0) 0 else qbeta(.025, x + .5, n - x + .5), if (x == n) 1 else qbeta(.975, x + .5, n - x + .5)))
p <- c(0.05, 0.12, 0.3, 0.55, 0.8, 0.93, 0.99, 0.5)
sets <- expand.grid(rep(list(0:1), length(p)))   # every one of the 256 outcomes, by enumeration
weight <- apply(sets, 1, function(s) prod(ifelse(s == 1, p, 1 - p)))
pmf <- sapply(0:length(p), function(k) sum(weight[rowSums(sets) == k]))
out <- list(x = x, n = n, wilson = list(low = wilson[, 1], high = wilson[, 2]), exact = list(low = exact[, 1], high = exact[, 2]),
  jeffreys = list(low = jeffreys[, 1], high = jeffreys[, 2]), poisson_binomial = list(p = p, pmf = pmf, cdf = cumsum(pmf), mean = sum(p), variance = sum(p * (1 - p))),
  # Equal chances give the binomial: R's own tails, one from a published comparison of surgeons, one far out and large.
  tails = list(n = c(215, 10000), chance = c(0.0739161, 0.3), at = c(31, 3400), at_least = c(pbinom(30, 215, 0.0739161, lower.tail = FALSE), pbinom(3399, 10000, 0.3, lower.tail = FALSE)),
    at_most = c(pbinom(31, 215, 0.0739161), pbinom(3400, 10000, 0.3)), central_low = qbinom(.025, 10000, .3), central_high = qbinom(.975, 10000, .3)))
cat(toJSON(out, digits = NA, auto_unbox = TRUE, pretty = TRUE), "\n")
writeLines(c(R.version.string), "versions.txt")
