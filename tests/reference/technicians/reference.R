# Random intercepts by lme4, their likelihood by numerical integration, exact funnel limits, and the posterior by Monte
# Carlo. Run here: Rscript reference.R > expected.json (about three minutes)
suppressPackageStartupMessages({library(jsonlite); library(lme4)})
set.seed(20260606)

# 1. lme4: fixed effects, SD, conditional modes; full log likelihood at those estimates by integrate().
tight <- glmerControl(optimizer = "bobyqa", tolPwrss = 1e-12, optCtrl = list(rhoend = 1e-9, maxfun = 1e5))
exact_loglik <- function(m, y, n, group) {
  eta <- drop(getME(m, "X") %*% fixef(m)); s <- sqrt(unlist(VarCorr(m)))
  sum(sapply(unique(group), function(g) {
    here <- group == g
    f <- function(u) sapply(u, function(v) exp(sum(dbinom(y[here], n[here], plogis(eta[here] + s * v), log = TRUE)) + dnorm(v, log = TRUE)))
    log(integrate(f, -9, 9, rel.tol = 1e-11, subdivisions = 4000)$value)
  }))
}
fitted <- function(form, data, y, n, group) {
  one <- function(q) {
    m <- glmer(form, data, family = binomial, nAGQ = q, control = tight)
    list(beta = unname(fixef(m)), sigma = unname(sqrt(unlist(VarCorr(m)))), modes = unname(ranef(m)[[1]][sort(rownames(ranef(m)[[1]]), method = "radix"), 1]),
      loglik = if (q == 1) as.numeric(logLik(m)) else exact_loglik(m, y, n, group))
  }
  list(laplace = one(1), quadrature = one(25))
}
s <- read.csv("data/surgical12.csv"); c <- read.csv("data/cbpp.csv"); b <- read.csv("data/bacteria.csv"); t <- read.csv("data/toenail.csv")
c$period <- factor(c$period); c$herd <- as.character(c$herd); b$y01 <- as.integer(b$y == "y"); t$patientID <- as.character(t$patientID)
b$drug <- as.numeric(b$trt == "drug"); b$both <- as.numeric(b$trt == "drug+")
fits <- list(
  surgical12 = fitted(cbind(r, n - r) ~ 1 + (1 | hospital), s, s$r, s$n, s$hospital),
  cbpp = fitted(cbind(incidence, size - incidence) ~ period + (1 | herd), c, c$incidence, c$size, c$herd),
  bacteria = fitted(y01 ~ drug + both + late + (1 | ID), b, b$y01, rep(1, nrow(b)), b$ID),
  toenail = fitted(y ~ trt * time + (1 | patientID), t, t$y, rep(1, nrow(t)), t$patientID))

# 2. Funnel of the surgical example: binomial limits at the common rate.
theta <- sum(s$r) / sum(s$n)
funnel <- list(theta = theta, low95 = qbinom(.025, s$n, theta), high95 = qbinom(.975, s$n, theta),
  low998 = qbinom(.001, s$n, theta), high998 = qbinom(.999, s$n, theta), at_least = pbinom(s$r - 1, s$n, theta, lower.tail = FALSE))

# 3. Posterior of the intercepts with the offset known: random-walk Metropolis one intercept at a time, Gibbs steps for
# the mean, Metropolis for the SD with the intercepts held and with their distances from the mean stretched.
posterior <- function(y, n, offset, group, draws, burn = 20000, thin = 5) {
  names <- sort(unique(group), method = "radix"); k <- length(names); rows <- lapply(names, function(g) which(group == g))
  ll <- function(j, a) { eta <- offset[rows[[j]]] + a; sum(y[rows[[j]]] * eta - n[rows[[j]]] * (pmax(eta, 0) + log1p(exp(-abs(eta))))) }
  alpha <- rep(0, k); a <- 0; tau <- 0.3; at <- sapply(1:k, function(j) ll(j, alpha[j])); step <- sapply(1:k, function(j) 2 / sqrt(sum(n[rows[[j]]]) * .2 + 4))
  keep <- matrix(NA_real_, draws, k + 1); hn <- function(s) -0.5 * (s / 0.5)^2
  for (i in seq_len(burn + draws * thin)) {
    for (j in 1:k) {
      new <- alpha[j] + rnorm(1, 0, step[j]); l <- ll(j, new)
      if (log(runif(1)) < l - at[j] - 0.5 * ((new - a)^2 - (alpha[j] - a)^2) / tau^2) { alpha[j] <- new; at[j] <- l }
    }
    v <- 1 / (k / tau^2 + 1 / 2.5^2); a <- rnorm(1, v * sum(alpha) / tau^2, sqrt(v))
    new <- tau * exp(rnorm(1, 0, 0.5)); q <- sum((alpha - a)^2)
    if (log(runif(1)) < -k * log(new / tau) - 0.5 * q * (1 / new^2 - 1 / tau^2) + hn(new) - hn(tau) + log(new / tau)) tau <- new
    new <- tau * exp(rnorm(1, 0, 0.5)); stretched <- a + (alpha - a) * new / tau; l <- sapply(1:k, function(j) ll(j, stretched[j]))
    if (log(runif(1)) < sum(l - at) + hn(new) - hn(tau) + log(new / tau)) { tau <- new; alpha <- stretched; at <- l }
    if (i > burn && (i - burn) %% thin == 0) keep[(i - burn) / thin, ] <- c(alpha, tau)
  }
  keep
}
batch_error <- function(x) { parts <- split(x, rep(1:50, each = length(x) %/% 50)[seq_along(x)]); sd(sapply(parts, mean)) / sqrt(50) }
told <- function(d) {
  k <- ncol(d) - 1; away <- d[, 1:k] - rowMeans(d[, 1:k]); ranks <- t(apply(-d[, 1:k], 1, rank))
  list(above = unname(colMeans(away > 0)), mean = unname(colMeans(away)), low = unname(apply(away, 2, quantile, .025)), high = unname(apply(away, 2, quantile, .975)),
    first = unname(colMeans(ranks == 1)), rank_low = unname(apply(ranks, 2, quantile, .025, type = 1)), rank_high = unname(apply(ranks, 2, quantile, .975, type = 1)),
    tau = mean(d[, k + 1]), above_error = max(apply(away > 0, 2, batch_error)), mean_error = max(apply(away, 2, batch_error)), tau_error = batch_error(d[, k + 1]))
}
team <- read.csv("data/invented_team.csv")
sampled <- list(surgical12 = told(posterior(s$r, s$n, rep(0, 12), s$hospital, 60000)),
  team = told(posterior(team$booted, rep(1, nrow(team)), team$offset, team$technician, 60000)))
cat(toJSON(list(fits = fits, funnel = funnel, sampled = sampled), digits = NA, auto_unbox = TRUE, pretty = TRUE), "\n")
writeLines(c(R.version.string, paste("lme4", packageVersion("lme4")), paste("jsonlite", packageVersion("jsonlite"))), "versions.txt")
