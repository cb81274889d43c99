# Reference values for scores of chances, net benefit and optimism. Run here: Rscript reference.R > expected.json
suppressPackageStartupMessages({library(jsonlite); library(pROC); library(rms)})
tr <- read.csv("data/pima_tr.csv"); te <- read.csv("data/pima_te.csv"); dc <- read.csv("data/dcurves_binary.csv")
f <- y ~ npreg + glu + bp + skin + bmi + ped + age
tight <- glm.control(epsilon = 1e-14, maxit = 100)
fit <- glm(f, binomial, tr, control = tight); p <- unname(predict(fit, te, type = "response")); y <- te$y; lp <- qlogis(p)
both <- summary(glm(y ~ lp, binomial, control = tight))$coefficients; large <- summary(glm(y ~ offset(lp), binomial, control = tight))$coefficients
r <- roc(y, p, quiet = TRUE, direction = "<"); ci <- as.numeric(ci.auc(r, method = "delong"))
# Ties: the same chances rounded to one decimal.
rt <- roc(y, round(p, 1), quiet = TRUE, direction = "<"); v <- unname(val.prob(p, y, pl = FALSE)[c("Brier", "Slope", "Intercept", "C (ROC)")])
calibration <- list(p = p, brier = mean((p - y)^2), log_score = mean(dbinom(y, 1, p, log = TRUE)), auc = ci[2], auc_low = ci[1], auc_high = ci[3], auc_se = sqrt(var(r, method = "delong")),
  tied_auc = as.numeric(auc(rt)), tied_se = sqrt(var(rt, method = "delong")), intercept = both[1, 1], intercept_se = both[1, 2], slope = both[2, 1], slope_se = both[2, 2],
  in_the_large = large[1, 1], in_the_large_se = large[1, 2], val_prob = v)
# Vickers and Elkin's formula, counted job by job.
nb <- function(p, y, t) sapply(t, function(t) sum(p >= t & y == 1) / length(y) - sum(p >= t & y == 0) / length(y) * t / (1 - t))
t <- c(.01, .05, .1, .15, .2, .25, .3, .35, .4, .5); cancer <- as.numeric(as.logical(dc$cancer))
net <- list(threshold = t, all = nb(rep(1, nrow(dc)), cancer, t), marker = nb(dc$cancerpredmarker, cancer, t), family_history = nb(dc$famhistory, cancer, t),
  pima_all = nb(rep(1, length(y)), y, t), pima_model = nb(p, y, t))
# Harrell's optimism over 40 stored draws, and rms with 2,000 draws of its own.
set.seed(11); rows <- lapply(1:40, function(i) sample(nrow(tr), replace = TRUE))
one <- function(m, d) { p <- predict(m, d, type = "response"); z <- predict(m, d); c(mean((p - d$y)^2), mean(dbinom(d$y, 1, p, log = TRUE)), as.numeric(auc(roc(d$y, p, quiet = TRUE, direction = "<"))), coef(glm(d$y ~ z, binomial, control = tight))[[2]]) }
gap <- sapply(rows, function(i) { m <- glm(f, binomial, tr[i, ], control = tight); one(m, tr[i, ]) - one(m, tr) })
set.seed(20260101); val <- validate(lrm(f, tr, x = TRUE, y = TRUE), B = 2000)
optimism <- list(rows = lapply(rows, function(i) i - 1), apparent = unname(one(fit, tr)), optimism = unname(rowMeans(gap)),
  rms = list(brier = val["B", "optimism"], slope = val["Slope", "optimism"], auc = val["Dxy", "optimism"] / 2, brier_corrected = val["B", "index.corrected"], slope_corrected = val["Slope", "index.corrected"]))
cat(toJSON(list(calibration = calibration, net_benefit = net, optimism = optimism), digits = NA, auto_unbox = TRUE, pretty = FALSE), "\n")
versions <- function(name) paste(name, packageVersion(name))
writeLines(c(R.version.string, sapply(c("pROC", "rms", "jsonlite"), versions)), "versions.txt")
