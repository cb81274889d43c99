# Posterior of the pooled model by Monte Carlo. Run here: Rscript reference.R > expected.json (about two minutes)
# Elliptical slice sampling of the coefficients (Murray, Adams, MacKay 2010), random-walk Metropolis for both SDs, in
# both parametrisations. No Laplace, no grid, no code shared with the suite. Errors by means of 50 batches.
suppressPackageStartupMessages({library(jsonlite); library(lme4)})
set.seed(20260101)

loglik <- function(X, y, n, beta) { eta <- drop(X %*% beta); sum(y * eta - n * (pmax(eta, 0) + log1p(exp(-abs(eta))))) }
log_half_normal <- function(s, scale) -0.5 * (s / scale)^2

# kind: 0 intercept, 1 effect (SD sigma), 2 family (SD tau)
draw_posterior <- function(X, y, n, kind, draws, burn = 5000) {
  sd_of <- function(sigma, tau) c(2.5, sigma, tau)[kind + 1]
  sigma <- 0.5; tau <- 0.3; z <- rep(0, length(kind)); ll <- loglik(X, y, n, z * sd_of(sigma, tau))
  keep <- matrix(NA_real_, draws, length(kind) + 2)
  for (i in seq_len(draws + burn)) {
    nu <- rnorm(length(z)); level <- ll + log(runif(1)); angle <- runif(1, 0, 2 * pi); lo <- angle - 2 * pi; hi <- angle
    s <- sd_of(sigma, tau)
    repeat {
      new <- z * cos(angle) + nu * sin(angle); l <- loglik(X, y, n, new * s)
      if (l > level) { z <- new; ll <- l; break }
      if (angle < 0) lo <- angle else hi <- angle
      angle <- runif(1, lo, hi)
    }
    for (which in 1:2) {
      if (!any(kind == which)) next
      scale <- c(1, 0.5)[which]; old <- c(sigma, tau)[which]
      # z held: the coefficients move along; the Jacobian of the log scale is the SD itself
      new <- old * exp(rnorm(1, 0, 0.7)); a <- if (which == 1) new else sigma; b <- if (which == 2) new else tau
      l <- loglik(X, y, n, z * sd_of(a, b))
      if (log(runif(1)) < l - ll + log_half_normal(new, scale) - log_half_normal(old, scale) + log(new / old)) { sigma <- a; tau <- b; ll <- l; old <- new }
      # coefficients held: z moves along
      new <- old * exp(rnorm(1, 0, 0.4)); beta <- z[kind == which] * old; k <- length(beta)
      ratio <- -0.5 * sum(beta^2) * (1 / new^2 - 1 / old^2) - k * log(new / old) + log_half_normal(new, scale) - log_half_normal(old, scale) + log(new / old)
      if (log(runif(1)) < ratio) { z[kind == which] <- beta / new; if (which == 1) sigma <- new else tau <- new }
    }
    if (i > burn) keep[i - burn, ] <- c(z * sd_of(sigma, tau), sigma, tau)
  }
  keep
}
batch_error <- function(x, f) { parts <- split(x, rep(1:50, each = length(x) %/% 50)[seq_along(x)]); sd(sapply(parts, f)) / sqrt(50) }
told <- function(p) list(mean = mean(p), low = unname(quantile(p, .1)), high = unname(quantile(p, .9)),
  error = max(batch_error(p, mean), batch_error(p, function(v) quantile(v, .1)), batch_error(p, function(v) quantile(v, .9))))
bind <- function(l) as.list(as.data.frame(do.call(rbind, lapply(l, unlist))))

# 1. Surgical: twelve hospitals, one SD.
s <- read.csv("data/surgical12.csv")
X <- cbind(1, diag(12)); d <- draw_posterior(X, s$r, s$n, c(0, rep(2, 12)), 200000)
tau <- d[, 15]
surgical <- list(hospitals = bind(lapply(1:12, function(j) told(plogis(d[, 1] + d[, 1 + j])))),
  unseen = told(plogis(d[, 1] + rnorm(nrow(d)) * tau)), tau = mean(tau), tau_error = batch_error(tau, mean),
  intercept = mean(d[, 1]), intercept_error = batch_error(d[, 1], mean))

# 2. Modes given the SD, by lme4 (penalised iteratively reweighted least squares, nAGQ = 0).
m <- glmer(cbind(r, n - r) ~ 1 + (1 | hospital), s, family = binomial, nAGQ = 0, control = glmerControl(tolPwrss = 1e-13))
modes <- list(tau = unname(attr(VarCorr(m)$hospital, "stddev")), intercept = unname(fixef(m)), modes = unname(ranef(m)$hospital[, 1]))

# 3. Invented jobs: categories, a number with blanks, families, twelve intakes, two of an unseen family.
jobs <- read.csv("data/invented_jobs.csv", colClasses = "character", na.strings = ""); asked <- read.csv("data/invented_intakes.csv", colClasses = "character", na.strings = "")
block <- function(train, new, name) {
  a <- train[[name]]; b <- new[[name]]
  if (name == "device_age_years") {
    v <- as.numeric(a); w <- as.numeric(b); mid <- median(v, na.rm = TRUE); step <- 2 * sqrt(mean((v - mean(v, na.rm = TRUE))^2, na.rm = TRUE))
    cols <- function(x) cbind(ifelse(is.na(x), 0, (x - mid) / step), is.na(x)); return(list(cols(v), cols(w)))
  }
  levels <- c(sort(unique(a[!is.na(a)])), NA); cols <- function(x) sapply(levels, function(l) if (is.na(l)) as.numeric(is.na(x)) else as.numeric(!is.na(x) & x == l))
  list(cols(a), cols(b))
}
facts <- setdiff(names(jobs), c("first_boot", "board_family"))
parts <- lapply(facts, function(f) block(jobs, asked, f)); family <- block(jobs, asked, "board_family")
A <- do.call(cbind, lapply(parts, `[[`, 1)); B <- do.call(cbind, lapply(parts, `[[`, 2)); centre <- colMeans(A)
X <- cbind(1, sweep(A, 2, centre), family[[1]]); N <- cbind(1, sweep(B, 2, centre), family[[2]])
kind <- c(0, rep(1, ncol(A)), rep(2, ncol(family[[1]]))); y <- as.numeric(jobs$first_boot)
d <- draw_posterior(X, y, rep(1, length(y)), kind, 200000); k <- length(kind)
unseen <- rowSums(family[[2]]) == 0
chance <- function(j) plogis(drop(d[, 1:k] %*% N[j, ]) + unseen[j] * rnorm(nrow(d)) * d[, k + 2])
intake <- list(intakes = bind(lapply(seq_len(nrow(N)), function(j) told(chance(j)))), sigma = mean(d[, k + 1]), sigma_error = batch_error(d[, k + 1], mean),
  tau = mean(d[, k + 2]), tau_error = batch_error(d[, k + 2], mean))
cat(toJSON(list(surgical = surgical, modes = modes, intake = intake), digits = NA, auto_unbox = TRUE, pretty = TRUE), "\n")
writeLines(c(R.version.string, paste("lme4", packageVersion("lme4")), paste("jsonlite", packageVersion("jsonlite"))), "versions.txt")
