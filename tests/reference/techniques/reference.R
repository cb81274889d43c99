# Expected values of the comparison of techniques. Rscript reference.R > expected.json
suppressMessages({library(jsonlite); library(MASS); library(mice); library(metafor)})
d <- read.csv("../logistic/data/birthwt.csv")
d$race <- factor(d$race)
out <- list()

# g-computation over all rows, birthwt: low ~ smoke + age + lwt + race + ptl + ht + ui
f <- glm(low ~ smoke + age + lwt + race + ptl + ht + ui, binomial, d)
p1 <- predict(f, transform(d, smoke = 1), "response"); p0 <- predict(f, transform(d, smoke = 0), "response")
out$birthwt <- list(risk1 = mean(p1), risk0 = mean(p0), RD = mean(p1) - mean(p0), RR = mean(p1) / mean(p0))

# the same in the overlap population, and the augmented estimates of both populations, worked by hand in R
e <- predict(glm(smoke ~ age + lwt + race + ptl + ht + ui, binomial, d), type = "response")
h <- e * (1 - e); A <- d$smoke; Y <- d$low
w1 <- A * (1 - e); w0 <- (1 - A) * e
rest <- sum(w1 * (Y - p1)) / sum(w1) - sum(w0 * (Y - p0)) / sum(w0)
v1 <- A / e; v0 <- (1 - A) / (1 - e)
rest_all <- sum(v1 * (Y - p1)) / sum(v1) - sum(v0 * (Y - p0)) / sum(v0)
out$overlap <- list(risk1 = weighted.mean(p1, h), risk0 = weighted.mean(p0, h),
  RD = weighted.mean(p1 - p0, h), robust = weighted.mean(p1 - p0, h) + rest,
  robust_all = mean(p1 - p0) + rest_all,
  age1 = weighted.mean(d$age[A == 1], (1 - e)[A == 1]), age0 = weighted.mean(d$age[A == 0], e[A == 0]),
  effective1 = sum(w1)^2 / sum(w1^2), effective0 = sum(w0)^2 / sum(w0^2))

# nhefs: weight change, Hernan and Robins ch. 13 (3.5 kg); and death, logistic
n <- read.csv("data/nhefs.csv")
k <- subset(n, !is.na(wt82_71))
g <- lm(wt82_71 ~ qsmk + sex + race + age + I(age^2) + factor(education) + smokeintensity + I(smokeintensity^2) +
  smokeyrs + I(smokeyrs^2) + factor(exercise) + factor(active) + wt71 + I(wt71^2) + qsmk:smokeintensity, k)
out$nhefs_weight <- list(EY0 = mean(predict(g, transform(k, qsmk = 0))), EY1 = mean(predict(g, transform(k, qsmk = 1))))
b <- glm(death ~ qsmk + sex + race + age + I(age^2) + factor(education) + smokeintensity + I(smokeintensity^2) +
  smokeyrs + I(smokeyrs^2) + factor(exercise) + factor(active) + wt71 + I(wt71^2), binomial, n)
q1 <- mean(predict(b, transform(n, qsmk = 1), "response")); q0 <- mean(predict(b, transform(n, qsmk = 0), "response"))
out$nhefs_death <- list(risk1 = q1, risk0 = q0, RD = q1 - q0, RR = q1 / q0)

# Rubin's rules on saved imputations of nhanes: chl ~ age + bmi
m <- read.csv("data/nhanes_mice_completed_m5.csv")
fits <- lapply(split(m, m$.imp), function(x) lm(chl ~ age + bmi, x))
s <- pool(fits)$pooled
out$rubin <- list(term = as.character(s$term), each = unname(t(sapply(fits, coef))),
  variance = unname(t(sapply(fits, function(x) diag(vcov(x))))), estimate = s$estimate, t = s$t, df = s$df, fmi = s$fmi,
  dfcom = s$dfcom[1])

# E-value formula
ev <- function(r) { r <- pmax(r, 1 / r); r + sqrt(r * (r - 1)) }
rr <- c(10.73, 3.9, 0.8); lo <- c(8.02, 1.8, 0.71); hi <- c(14.36, 8.7, 0.91)
out$evalue <- list(rr = rr, lo = lo, hi = hi, estimate = ev(rr), interval = ev(ifelse(rr > 1, lo, hi)))

# counts: days absent from school, quine
q <- read.csv("data/quine.csv", stringsAsFactors = TRUE)
po <- glm(Days ~ Eth + Sex + Age + Lrn, poisson, q); nb <- glm.nb(Days ~ Eth + Sex + Age + Lrn, q)
out$quine <- list(term = names(coef(nb)), nb = unname(coef(nb)), theta = nb$theta, loglik_nb = as.numeric(logLik(nb)),
  poisson = unname(coef(po)), loglik_poisson = as.numeric(logLik(po)),
  pearson = sum(residuals(po, "pearson")^2) / po$df.residual)

# stratified 2 x 2 tables: Mantel-Haenszel risk difference with the variance of Sato, Greenland and Robins
ai <- c(5, 12, 8, 3); n1 <- c(8, 20, 15, 5); ci <- c(4, 9, 9, 2); n2 <- c(9, 21, 14, 5)
r <- rma.mh(measure = "RD", ai = ai, n1i = n1, ci = ci, n2i = n2, digits = 10)
out$strata <- list(ai = ai, n1 = n1, ci = ci, n2 = n2, difference = as.numeric(r$beta), se = r$se)

cat(toJSON(out, digits = NA, auto_unbox = TRUE, pretty = TRUE))
writeLines(c(R.version.string, sapply(c("MASS", "mice", "metafor", "jsonlite"),
  function(p) paste(p, packageVersion(p)))), "versions.txt")
