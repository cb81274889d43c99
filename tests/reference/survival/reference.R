# Reference values for survival curves, log-rank tests and Cox regression. Run here: Rscript reference.R > expected.json
suppressPackageStartupMessages({library(jsonlite); library(survival)})
read <- function(name) read.csv(file.path("data", paste0(name, ".csv")), stringsAsFactors = TRUE)
km <- function(formula, data) {
  s <- summary(survfit(formula, data, conf.type = "log-log"))
  list(group = as.character(s$strata), time = s$time, n_risk = s$n.risk, surv = s$surv, se = s$std.err, low = s$lower, high = s$upper)
}
quartiles <- function(formula, data) {  # times at which a quarter, a half, three quarters had the event, by group
  q <- quantile(survfit(formula, data), c(.25, .5, .75), conf.int = FALSE)
  list(group = rownames(q), q25 = unname(q[, 1]), q50 = unname(q[, 2]), q75 = unname(q[, 3]))
}
lr <- function(formula, data) { d <- survdiff(formula, data); list(chisq = d$chisq, df = length(d$n) - 1) }
tight <- coxph.control(eps = 1e-13, iter.max = 100, toler.chol = 1e-15)
cox <- function(formula, data, ties = "efron") {
  fit <- coxph(formula, data, ties = ties, control = tight)
  list(term = names(coef(fit)), coef = unname(coef(fit)), se = unname(sqrt(diag(vcov(fit)))), loglik = fit$loglik, score = unname(fit$score))
}
# survdiff takes no late entry; the score test of an exact fit is the log-rank test, late entry or not.
lr_late <- function(formula, data) list(chisq = unname(coxph(formula, data, ties = "exact")$score), df = 1)
zph <- function(formula, data, transform = "km", terms = FALSE) {
  environment(formula) <- environment()
  z <- cox.zph(coxph(formula, data, control = tight), transform = transform, terms = terms)$table
  list(term = rownames(z), chisq = unname(z[, 1]), df = unname(z[, 2]), p = unname(z[, 3]))
}
out <- list()
f <- read("freireich_6mp"); f$control <- as.integer(f$treat == "control")
out$freireich <- list(km = km(Surv(time, cens) ~ treat, f), logrank = lr(Surv(time, cens) ~ treat, f),
  by_pair = lr(Surv(time, cens) ~ treat + strata(pair), f), efron = cox(Surv(time, cens) ~ control, f),
  breslow = cox(Surv(time, cens) ~ control, f, "breslow"), zph = zph(Surv(time, cens) ~ control, f))
a <- read("aml"); a$non <- as.integer(a$x == "Nonmaintained")
out$aml <- list(km = km(Surv(time, status) ~ x, a), logrank = lr(Surv(time, status) ~ x, a), efron = cox(Surv(time, status) ~ non, a),
  zph = zph(Surv(time, status) ~ non, a))
v <- read("veteran")
for (cell in c("smallcell", "adeno", "large")) v[[cell]] <- as.integer(v$celltype == cell)
form <- Surv(time, status) ~ trt + smallcell + adeno + large + karno + diagtime + age + prior
out$veteran <- list(km = km(Surv(time, status) ~ trt, v), logrank = lr(Surv(time, status) ~ celltype, v), efron = cox(form, v),
  zph = zph(form, v), zph_identity = zph(form, v, "identity"), zph_log = zph(form, v, "log"), zph_rank = zph(form, v, "rank"),
  strata = cox(Surv(time, status) ~ trt + karno + strata(celltype), v), entry = cox(Surv(time - pmin(time, 10) / 2, time, status) ~ trt + karno, transform(v, time = time)))
out$veteran$late_entry <- cox(Surv(start, time, status) ~ trt + karno, transform(v, start = pmin(time / 2, 20)))
out$veteran$entry <- NULL
late <- transform(v, start = ifelse(seq_along(time) %% 2 == 0, pmin(time / 2, 20), 0))  # every other row comes late
out$veteran$zph_strata <- zph(Surv(time, status) ~ trt + karno + strata(celltype), v)
out$veteran$zph_late <- zph(Surv(start, time, status) ~ trt + karno, late)
out$veteran$zph_late_identity <- zph(Surv(start, time, status) ~ trt + karno, late, "identity")
out$veteran$late_efron <- cox(Surv(start, time, status) ~ trt + karno, late)
out$veteran$late_breslow <- cox(Surv(start, time, status) ~ trt + karno, late, "breslow")
out$veteran$late_strata <- cox(Surv(start, time, status) ~ trt + karno + strata(celltype), late)
out$veteran$late_km <- km(Surv(start, time, status) ~ trt, late)
out$veteran$late_logrank <- lr_late(Surv(start, time, status) ~ trt, late)
out$veteran$terms <- zph(Surv(time, status) ~ trt + celltype + karno + diagtime + age + prior, v, terms = TRUE)
out$freireich$quartiles <- quartiles(Surv(time, cens) ~ treat, f)
out$aml$quartiles <- quartiles(Surv(time, status) ~ x, a)
r <- read("rossi")
form <- Surv(week, arrest) ~ fin + age + race + wexp + mar + paro + prio
out$rossi <- list(efron = cox(form, r), zph = zph(form, r))
k <- read("capacitor")
k$hot <- as.integer(k$temperature == 180); k$kv <- k$voltage / 100
out$capacitor <- list(cox = cox(Surv(time, status) ~ hot + kv, k), zph = zph(Surv(time, status) ~ hot + kv, k), km = km(Surv(time, status) ~ temperature, k), logrank = lr(Surv(time, status) ~ temperature, k))
cat(toJSON(out, digits = NA, auto_unbox = TRUE, pretty = TRUE), "\n")
writeLines(c(R.version.string, paste("survival", packageVersion("survival"))), "versions.txt")
