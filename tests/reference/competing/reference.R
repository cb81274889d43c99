# Reference values for competing ends and for tiny samples. Run here: Rscript reference.R > expected.json
suppressPackageStartupMessages({library(jsonlite); library(survival); library(cmprsk)})
b <- read.csv("data/bmt_scrucca.csv"); m <- read.csv("data/melanoma.csv")
m$end <- ifelse(m$status == 1, 1, ifelse(m$status == 2, 0, 2))
aj <- function(time, end, at) {
  s <- summary(survfit(Surv(time, factor(end, 0:2)) ~ 1), times = at)
  list(time = at, est1 = s$pstate[, 2], est2 = s$pstate[, 3], se1 = s$std.err[, 2], se2 = s$std.err[, 3])
}
# cmprsk's own estimate; its standard error is of another kind (see README.md) and not compared.
ci <- function(time, end, at) {
  t <- timepoints(cuminc(time, end), at)
  list(time = at, est1 = unname(t$est[1, ]), est2 = unname(t$est[2, ]), se1 = unname(sqrt(t$var[1, ])), se2 = unname(sqrt(t$var[2, ])))
}
gray <- function(time, end, group) { t <- cuminc(time, end, group)$Tests; list(stat = unname(t[, 1]), p = unname(t[, 2]), df = unname(t[, 3])) }
at <- c(1, 3, 6, 12, 24)
tight <- coxph.control(eps = 1e-13, iter.max = 100, toler.chol = 1e-15)
fit <- coxph(Surv(time, end == 1) ~ ulcer + thickness + sex + age, m, control = tight)
out <- list(
  bmt = list(group0 = aj(b$ftime[b$dis == 0], b$status[b$dis == 0], at), group1 = aj(b$ftime[b$dis == 1], b$status[b$dis == 1], at), gray = gray(b$ftime, b$status, b$dis)),
  # No open data set here ends with all remaining rows at once; six rows by hand.
  last = c(list(t = c(1, 2, 3, 4, 4, 4), end = c(1, 2, 1, 1, 1, 2)), aj(c(1, 2, 3, 4, 4, 4), c(1, 2, 1, 1, 1, 2), c(1, 2, 3, 4))),
  melanoma = list(cmprsk = ci(m$time, m$end, c(1, 2, 3, 5, 8, 10) * 365.25),
    ulcer0 = aj(m$time[m$ulcer == 0], m$end[m$ulcer == 0], c(3, 5, 8) * 365.25), ulcer1 = aj(m$time[m$ulcer == 1], m$end[m$ulcer == 1], c(3, 5, 8) * 365.25),
    all = aj(m$time, m$end, c(1, 2, 3, 5, 8, 10) * 365.25), gray = gray(m$time, m$end, m$ulcer),
    gray3 = gray(m$time, m$end, cut(m$thickness, c(-1, 1, 3, 99), labels = FALSE)),
    cox = list(term = names(coef(fit)), coef = unname(coef(fit)), se = unname(sqrt(diag(vcov(fit)))), loglik = fit$loglik)))
# Samples of 1 to 8 rows with ties (make_tiny.py), one long column a quantity.
tiny <- read.csv("data/tiny.csv")
each <- function(f) do.call(rbind, lapply(split(tiny, tiny$sample), f))
curves <- each(function(d) {
  f <- survfit(Surv(time, factor(end, 0:2)) ~ 1, d); k <- survfit(Surv(time, end > 0) ~ 1, d, conf.type = "log-log")
  data.frame(sample = d$sample[1], time = f$time, est1 = f$pstate[, 2], est2 = f$pstate[, 3], se1 = f$std.err[, 2], se2 = f$std.err[, 3],
    left = k$surv, left_se = summary(k, times = k$time)$std.err, left_low = k$lower, left_high = k$upper)
})
# Where R's coefficients run away there is no maximum; ours must say so.
hazards <- each(function(d) {
  if (nrow(d) < 2 || !any(d$end == 1)) return(NULL)
  f <- suppressWarnings(coxph(Surv(time, end == 1) ~ group + z, d, control = tight))
  se <- suppressWarnings(sqrt(diag(vcov(f)))); found <- all(is.finite(coef(f))) && all(is.finite(se)) && max(abs(coef(f))) < 12 && max(se) < 50 && min(se) > 0
  data.frame(sample = d$sample[1], found = found, b1 = coef(f)[1], b2 = coef(f)[2], se1 = se[1], se2 = se[2], null = f$loglik[1], loglik = f$loglik[2])
})
tests <- each(function(d) {
  if (length(unique(d$group)) < 2 || !any(d$end == 1)) return(NULL)
  data.frame(sample = d$sample[1], gray = unname(cuminc(d$time, d$end, d$group)$Tests["1", "stat"]), log_rank = survdiff(Surv(time, end == 1) ~ group, d)$chisq)
})
out$tiny <- list(curves = as.list(curves), cox = as.list(hazards), tests = as.list(tests))
cat(toJSON(out, digits = NA, auto_unbox = TRUE, pretty = TRUE), "\n")
writeLines(c(R.version.string, paste("survival", packageVersion("survival")), paste("cmprsk", packageVersion("cmprsk"))), "versions.txt")
