# Reference values for logistic regression. Run in this folder: Rscript reference.R > expected.json
suppressPackageStartupMessages({library(jsonlite); library(brglm2); library(splines)})
read <- function(name) read.csv(file.path("data", paste0(name, ".csv")), stringsAsFactors = TRUE)
# Standard errors at the estimate itself: vcov() keeps the weights of one step before, some 1e-9 away.
ml <- function(fit) {
  x <- model.matrix(fit); p <- plogis(drop(x %*% coef(fit)))
  se <- unname(sqrt(diag(solve(crossprod(x * sqrt(fit$prior.weights * p * (1 - p)))))))
  list(term = names(coef(fit)), coef = unname(coef(fit)), se = se, deviance = deviance(fit))
}
tight <- glm.control(epsilon = 1e-14, maxit = 100)

# Penalised likelihood by its definition; its profile by Newton steps on Firth's modified score
# (Heinze and Schemper 2002), with the estimate itself from brglm2.
penalised <- function(x, y, b) {
  eta <- drop(x %*% b); p <- plogis(eta); w <- p * (1 - p)
  value <- sum(y * eta - pmax(eta, 0) - log1p(exp(-abs(eta)))) + 0.5 * as.numeric(determinant(crossprod(x * sqrt(w)))$modulus)
  if (is.finite(value)) value else -1e8
}
maximum <- function(x, y, start, fixed = NULL, value = NULL) {
  b <- start; if (!is.null(fixed)) b[fixed] <- value
  free <- setdiff(seq_along(b), fixed)
  for (i in 1:500) {
    p <- plogis(drop(x %*% b)); w <- p * (1 - p)
    information <- crossprod(x * sqrt(w))
    hat <- rowSums((x %*% solve(information)) * x) * w
    score <- drop(crossprod(x, y - p + hat * (0.5 - p)))[free]
    step <- solve(information[free, free, drop = FALSE], score)
    if (sum(step * score) < 1e-22) break
    step <- step * min(1, 2 / max(abs(step))); before <- penalised(x, y, b)
    for (k in 1:40) { trial <- b; trial[free] <- b[free] + step; if (penalised(x, y, trial) >= before - 1e-13) break; step <- step / 2 }
    b <- trial
  }
  list(estimate = b, minimum = -penalised(x, y, b))
}
profile_firth <- function(x, y, estimate, se) {
  top <- penalised(x, y, estimate)
  one_end <- function(j, side) {
    start <- estimate
    f <- function(v) {
      found <- maximum(x, y, start, j, v)
      start <<- found$estimate
      2 * (top + found$minimum) - qchisq(0.95, 1)
    }
    near <- estimate[j]; far <- near + side * se[j]
    while (f(far) < 0) { near <- far; far <- far + side * se[j] / 2 }
    uniroot(f, sort(c(near, far)), tol = 1e-11)$root
  }
  ends <- sapply(seq_along(estimate), function(j) c(one_end(j, -1), one_end(j, 1)))
  p <- sapply(seq_along(estimate), function(j) pchisq(2 * (top + maximum(x, y, estimate, j, 0)$minimum), 1, lower.tail = FALSE))
  list(low = ends[1, ], high = ends[2, ], p = p, loglik = top)
}
firth <- function(formula, data) {
  fit <- glm(formula, binomial, data, method = "brglmFit", type = "AS_mean", epsilon = 1e-13, maxit = 10000)
  x <- model.matrix(fit); y <- fit$y
  se <- unname(sqrt(diag(vcov(fit))))
  c(list(term = names(coef(fit)), coef = unname(coef(fit)), se = se), profile_firth(x, y, unname(coef(fit)), se))
}
# What follows from a penalised fit: standard errors of the augmented data, the intercept that keeps the observed rate
# (Puhr et al. 2017), chances from it, a joint test.
after <- function(fit) {
  x <- model.matrix(fit); y <- fit$y; b <- unname(coef(fit)); p <- plogis(drop(x %*% b)); w <- p * (1 - p)
  hat <- rowSums((x %*% solve(crossprod(x * sqrt(w)))) * x) * w
  rest <- drop(x[, -1, drop = FALSE] %*% b[-1])
  flic <- unname(coef(glm(y ~ 1, offset = rest, family = binomial, control = tight)))
  list(se_augmented = unname(sqrt(diag(solve(crossprod(x * sqrt(w * (1 + hat))))))), flic = flic)
}
joint <- function(fit, columns) {
  x <- model.matrix(fit); b <- unname(coef(fit))
  statistic <- 2 * (penalised(x, fit$y, b) + maximum(x, fit$y, b, columns, 0)$minimum)
  list(statistic = statistic, df = length(columns), p = pchisq(statistic, length(columns), lower.tail = FALSE))
}
mean_difference <- function(x, b, j, coefficient) mean(plogis(drop(x %*% b) + coefficient)) - mean(plogis(drop(x %*% b)))
br <- function(formula, data) glm(formula, binomial, data, method = "brglmFit", type = "AS_mean", epsilon = 1e-13, maxit = 10000)

out <- list()
out$endometrial <- firth(HG ~ NV + PI + EH, read("endometrial"))
out$two_by_two <- firth(ok ~ hot, read("firth_2x2"))
o <- read("orings"); o$any <- as.integer(o$fail > 0)
fit <- glm(fail > 0 ~ Temperature, binomial, o, control = tight)
out$orings <- ml(fit)
out$orings$at <- list(temperature = c(31, 53, 65, 81), p = unname(predict(fit, data.frame(Temperature = c(31, 53, 65, 81)), type = "response")))
s <- read("spaceshuttle_vcd"); s <- s[!is.na(s$nFailures), ]
fit <- glm(cbind(nFailures, 6 - nFailures) ~ Temperature, binomial, s, control = tight)
out$shuttle <- ml(fit)
out$shuttle$at31 <- unname(predict(fit, data.frame(Temperature = 31), type = "response"))
solder <- read("solder")
out$solder <- ml(glm(any ~ Opening + Solder + Mask + factor(Panel), binomial, solder, control = tight))
out$solder_firth <- local({
  fit <- glm(any ~ Opening + Solder + Mask + factor(Panel), binomial, solder, method = "brglmFit", type = "AS_mean", epsilon = 1e-13, maxit = 10000)
  list(term = names(coef(fit)), coef = unname(coef(fit)), se = unname(sqrt(diag(vcov(fit)))))
})
out$orings_firth <- local({
  fit <- glm(fail > 0 ~ Temperature, binomial, o, method = "brglmFit", type = "AS_mean", epsilon = 1e-13, maxit = 10000)
  x <- model.matrix(fit); se <- unname(sqrt(diag(vcov(fit))))
  c(list(term = names(coef(fit)), coef = unname(coef(fit)), se = se), profile_firth(x, fit$y, unname(coef(fit)), se))
})
b <- read("birthwt"); b$race <- relevel(b$race, "white")
out$birthwt <- ml(glm(low ~ age + lwt + race + smoke + ptl + ht + ui, binomial, b, control = tight))
m <- read("menarche")
fit <- glm(cbind(Menarche, Total - Menarche) ~ Age, binomial, m, control = tight)
out$menarche <- ml(fit)
out$menarche$ed50 <- unname(-coef(fit)[1] / coef(fit)[2])
out$spector <- ml(glm(GRADE ~ GPA + TUCE + PSI, binomial, read("spector"), control = tight))
x <- c(200, 215, 225, 235, 240, 245, 250, 260, 275, 290)
out$spline <- list(x = x, knots = c(225, 245, 260), bounds = c(210, 280),
                   ns = unclass(ns(x, knots = c(225, 245, 260), Boundary.knots = c(210, 280)))[, 1:4])
grid <- c(53, 60, 65, 70, 75, 81)
fit <- glm(fail > 0 ~ ns(Temperature, knots = 70, Boundary.knots = c(53, 81)), binomial, o, control = tight)
p <- predict(fit, data.frame(Temperature = grid), se.fit = TRUE)
out$spline_orings <- list(x = grid, eta = unname(p$fit), se = unname(p$se.fit), deviance = deviance(fit))
k <- read("kyphosis")
fit <- glm(y ~ ns(Age, df = 3) + Number + Start, binomial, k, control = tight)
new <- data.frame(Age = c(1, 50, 100, 150, 200), Number = 4, Start = 12)
out$spline_kyphosis <- list(x = new$Age, knots = unname(quantile(k$Age, c(1, 2) / 3)), bounds = range(k$Age),
                            eta = unname(predict(fit, new)), deviance = deviance(fit))
# Penalised fits beyond the plain case: other data, weights, an offset, a joint test, chances and curves.
e <- read("endometrial")
fit <- br(HG ~ NV + PI + EH, e)
out$endometrial_after <- c(after(fit), list(joint = joint(fit, c(2, 4))))
out$endometrial_after$difference <- local({
  x <- model.matrix(fit); x[, "NV"] <- 0
  b <- c(out$endometrial_after$flic, unname(coef(fit))[-1]); at <- c(b[2], out$endometrial$low[2], out$endometrial$high[2])
  100 * sapply(at, function(coefficient) mean_difference(x, b, 2, coefficient))
})
e$known <- -0.03 * e$PI
out$endometrial_offset <- local({
  fit <- br(HG ~ NV + EH + offset(known), e)
  list(coef = unname(coef(fit)), se = unname(sqrt(diag(vcov(fit)))))
})
out$birthwt_firth <- firth(low ~ age + lwt + race + smoke + ptl + ht + ui, b)
out$menarche_firth <- local({
  fit <- br(cbind(Menarche, Total - Menarche) ~ Age, m)
  list(coef = unname(coef(fit)), se = unname(sqrt(diag(vcov(fit)))))
})
doses <- MASS::dose.p(glm(cbind(Menarche, Total - Menarche) ~ Age, binomial, m, control = tight), p = c(.1, .5, .9))
out$menarche$doses <- list(p = c(.1, .5, .9), dose = as.numeric(doses), se = as.numeric(attr(doses, "SE")))
# The curve of age on the path of the reports: knots at equal quantiles, chances averaged over the rows from the intercept
# that keeps the observed rate, band by the delta method on the log odds of the average.
inner <- unname(quantile(k$Age, c(1, 2) / 3)); ends <- range(k$Age)
design <- function(data) cbind(1, ns(data$Age, knots = inner, Boundary.knots = ends)[, 1:3], data$Number, data$Start)
fit <- br(y ~ ns(Age, knots = inner, Boundary.knots = ends) + Number + Start, k)
x <- design(k); beta <- unname(coef(fit)); covariance <- unname(vcov(fit))
full <- firth(y ~ ns(Age, knots = inner, Boundary.knots = ends) + Number + Start, k)
flic <- after(fit)$flic
grid <- c(5, 40, median(k$Age), 120, 180); q <- qnorm(.975)
standard <- sapply(grid, function(age) {
  moved <- design(transform(k, Age = age)); p <- plogis(drop(moved %*% c(flic, beta[-1]))); average <- mean(p)
  slope <- colMeans(p * (1 - p) * moved) / (average * (1 - average))
  s <- sqrt(drop(t(slope) %*% covariance %*% slope))
  c(average, plogis(qlogis(average) + c(-q, q) * s))
})
difference <- 100 * sapply(c(beta[6], full$low[6], full$high[6]), function(coefficient) mean_difference(x, c(flic, beta[-1]), 6, coefficient))
out$kyphosis_firth <- list(x = grid, loglik_fitted = penalised(x, k$y, beta), start = list(coef = beta[6], low = full$low[6], high = full$high[6], p = full$p[6]),
  flic_chance = unname(plogis(drop(x %*% c(flic, beta[-1])))[1:10]),
  chance = list(chance = standard[1, ], low = standard[2, ], high = standard[3, ]),
  curve = joint(fit, 2:4), difference = difference)
cat(toJSON(out, digits = NA, auto_unbox = TRUE, pretty = TRUE), "\n")
writeLines(c(R.version.string, paste("brglm2", packageVersion("brglm2")), paste("MASS", packageVersion("MASS")), paste("jsonlite", packageVersion("jsonlite"))), "versions.txt")
