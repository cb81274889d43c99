# Reference values for discrete time. Run here: Rscript reference.R > expected.json
suppressPackageStartupMessages(library(jsonlite))
w <- read.csv("data/weinberg_gladen_1986.csv")
events <- lapply(w[2:3], function(v) v[1:12]); beyond <- sapply(w[2:3], function(v) v[13])
risk <- function(v, b) rev(cumsum(rev(c(v, b))))[1:12]
d <- data.frame(cycle = rep(1:12, 2), smoker = rep(1:0, each = 12), events = c(events$smokers, events$nonsmokers),
                atrisk = c(risk(events$smokers, beyond[1]), risk(events$nonsmokers, beyond[2])))
tight <- glm.control(epsilon = 1e-14, maxit = 100)
fit <- function(formula, link) {
  f <- glm(formula, binomial(link), d, control = tight)
  list(term = names(coef(f)), coef = unname(coef(f)), se = unname(sqrt(diag(vcov(f)))), deviance = deviance(f))
}
bg <- function(v, b) {
  t <- seq_along(v)
  f <- function(q) { a <- exp(q); -(sum(v * (lbeta(a[1] + 1, a[2] + t - 1) - lbeta(a[1], a[2]))) + b * (lbeta(a[1], a[2] + 12) - lbeta(a[1], a[2]))) }
  g <- function(q) {  # the slope, so that the flat top is found exactly
    a <- exp(q); both <- digamma(sum(a)) - digamma(sum(a) + t); end <- digamma(sum(a)) - digamma(sum(a) + 12)
    da <- sum(v * (1 / a[1] + both)) + b * end
    db <- sum(v * (digamma(a[2] + t - 1) - digamma(a[2]) + both)) + b * (digamma(a[2] + 12) - digamma(a[2]) + end)
    -c(da * a[1], db * a[2])
  }
  q <- optim(c(0, 1), f, g, method = "BFGS", control = list(reltol = 1e-16, maxit = 5000))$par
  for (k in 1:50) {  # Newton with a numerical second derivative
    h <- 1e-5; H <- cbind(g(q + c(h, 0)) - g(q - c(h, 0)), g(q + c(0, h)) - g(q - c(0, h))) / (2 * h)
    q <- q - solve(H, g(q))
  }
  n <- list(estimate = q, minimum = f(q))
  list(alpha = exp(n$estimate[1]), beta = exp(n$estimate[2]), mean = unname(exp(n$estimate[1]) / sum(exp(n$estimate))), loglik = -n$minimum)
}
out <- list(table = list(atrisk = d$atrisk, events = d$events, hazard = d$events / d$atrisk,
  by_then = 1 - c(cumprod(1 - (d$events / d$atrisk)[1:12]), cumprod(1 - (d$events / d$atrisk)[13:24]))),
  logit = fit(cbind(events, atrisk - events) ~ factor(cycle) + smoker, "logit"),
  cloglog = fit(cbind(events, atrisk - events) ~ factor(cycle) + smoker, "cloglog"),
  linear = fit(cbind(events, atrisk - events) ~ cycle + smoker, "logit"),
  smokers = bg(events$smokers, beyond[1]), nonsmokers = bg(events$nonsmokers, beyond[2]))
cat(toJSON(out, digits = NA, auto_unbox = TRUE, pretty = TRUE), "\n")
writeLines(c(R.version.string), "versions.txt")
