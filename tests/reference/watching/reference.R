# Reference values for watching over time. Run here: Rscript reference.R > expected.json
suppressPackageStartupMessages(library(jsonlite))
w <- read.csv("data/nist_pchart.csv")
chart <- function(d) {
  centre <- sum(d$defective) / sum(d$n); s <- sqrt(centre * (1 - centre) / d$n[1])
  out <- d$wafer[d$fraction > centre + 3 * s | d$fraction < centre - 3 * s]
  tail <- pnorm(-3)   # the same false-alarm rate a side, exactly
  list(centre = centre, upper = centre + 3 * s, lower = centre - 3 * s, out = out,
       exact_low = qbinom(tail, d$n[1], centre), exact_high = qbinom(tail, d$n[1], centre, lower.tail = FALSE))
}
# Steiner et al. 2000, p. 446: logit of the chance of death -3.68 + 0.077 times the Parsonnet score; odds doubled, then halved.
p <- plogis(-3.68 + 0.077 * c(0, 0, 50, 50)); y <- c(0, 1, 0, 1)
weight <- function(p, y, f) log(ifelse(y == 1, f, 1) / (1 - p + f * p))
# Run length by a Markov chain: the chart cut into m cells, each cell's chart value its middle, cell 0 the zero itself.
moves_within <- function(p, share, limit, f, change, m) {
  width <- limit / m; middle <- c(0, (seq_len(m) - 0.5) * width); Q <- matrix(0, m + 1, m + 1)
  for (k in seq_along(p)) for (y in 0:1) {
    true <- change * p[k] / (1 - p[k] + change * p[k])
    to <- middle + weight(p[k], y, f); cell <- ifelse(to <= 0, 0, ceiling(to / width))
    stay <- which(cell <= m)
    for (i in stay) Q[i, cell[i] + 1] <- Q[i, cell[i] + 1] + share[k] * ifelse(y == 1, true, 1 - true)
  }
  Q
}
run_length <- function(..., m = 2000) solve(diag(m + 1) - moves_within(..., m = m), rep(1, m + 1))[1]
signal_within <- function(jobs, ..., m = 1000) {   # chance of a signal within so many jobs
  Q <- moves_within(..., m = m); state <- c(1, rep(0, m))
  for (i in seq_len(jobs)) state <- as.vector(state %*% Q)
  1 - sum(state)
}
mix <- list(p = c(.1, .12, .14), share = c(.1, .5, .4), limit = 2.9, factor = 2)
ours <- list(p = c(.45, .65, .8), share = c(.25, .45, .3), limit = 4, factor = .5)   # chances like a rework bench's
lengths <- function(m) c(run_length(m$p, m$share, m$limit, m$factor, 1), run_length(m$p, m$share, m$limit, m$factor, m$factor))
many <- c(.001, .04, .012, .3, .0004, .04, .9, .05)
out <- list(nist = chart(w), revised = chart(subset(w, !(wafer %in% c(15, 23)))),
  weights = list(p = p, y = y, doubled = weight(p, y, 2), halved = weight(p, y, .5)),
  run_length = list(mix = c(mix, list(length = lengths(mix))), ours = c(ours, list(length = lengths(ours)))),
  within = list(jobs = 200, chance = signal_within(200, ours$p, ours$share, ours$limit, ours$factor, 1)),
  holm = list(p = many, adjusted = p.adjust(many, "holm")))
cat(toJSON(out, digits = NA, auto_unbox = TRUE, pretty = TRUE), "\n")
writeLines(R.version.string, "versions.txt")
