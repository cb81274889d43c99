# The same work by R packages: Rscript peers.R WORK ROWS.csv; prints CPU seconds of the call alone.
given <- commandArgs(trailingOnly = TRUE)
rows <- read.csv(given[2])
covariates <- grep("^x[0-9]+$", names(rows), value = TRUE)
right <- paste(covariates, collapse = " + ")
with_y <- as.formula(paste("y ~", right))
invisible(suppressPackageStartupMessages(switch(given[1],
  brglm2 = library(brglm2), lme4 = library(lme4), coxph = library(survival), survfit = library(survival),
  rms = library(rms))))
works <- list(
  glm = function() glm(with_y, binomial, rows),
  brglm2 = function() glm(with_y, binomial, rows, method = "brglmFit", type = "MPL_Jeffreys"),
  lme4 = function() glmer(as.formula(paste("y ~", right, "+ (1 | group)")), rows, binomial, nAGQ = 1),
  coxph = function() coxph(as.formula(paste("Surv(time, event == 1) ~", right)), rows, ties = "efron"),
  survfit = function() survfit(Surv(time, factor(event)) ~ 1, rows),
  rms = function() validate(lrm(with_y, rows, x = TRUE, y = TRUE), B = 200)
)
spent <- system.time(done <- works[[given[1]]]())
cat(sum(spent[c("user.self", "sys.self", "user.child", "sys.child")], na.rm = TRUE), "\n")
