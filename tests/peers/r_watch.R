# The methods of the watch against R: distributions, integrate() and uniroot(),
# KalmanRun(), StructTS(). Data: R's own data sets, and generated
# cases (seeded). Each prints "ok" or "not ok"; exit code 1 if any is not ok.
options(digits = 15)
program <- Sys.getenv("KILNWORD")
cases <- 0; failed <- 0

work <- function(method, table, options = character(0)) {
  file <- tempfile(fileext = ".csv"); on.exit(unlink(file))
  write.csv(table, file, row.names = FALSE, na = "", quote = FALSE)
  read.csv(text = system2(program, c("work", method, options, file), stdout = TRUE),
           stringsAsFactors = FALSE)
}
same <- function(name, got, want, rel = 1e-8, abs = 1e-10) {
  cases <<- cases + 1
  far <- length(got) != length(want) || any(is.na(got) != is.na(want)) ||
    any(abs(got - want) > pmax(rel * abs(want), abs), na.rm = TRUE)
  if (far) {
    failed <<- failed + 1
    worst <- suppressWarnings(max(abs(got - want) / abs(want), na.rm = TRUE))
    cat("# worst relative difference", worst, "\n")
  }
  cat(if (far) "not ok" else "ok", cases, "-", name, "\n")
}

set.seed(20)

# ---- exact ----
k <- rep(c(0, 1, 3, 8, 30), 4); m <- rep(c(.01, .5, 4, 25), each = 5)
got <- work("exact", data.frame(law = "poisson", k = k, mean = m))
same("exact: Poisson tails are ppois", got$p_upper, ppois(k - 1, m, lower.tail = FALSE), abs = 0)
ci <- sapply(k, function(x) poisson.test(x, conf.level = .9)$conf.int)
same("exact: interval of a Poisson mean is poisson.test's", c(got$mean_low, got$mean_high), c(ci[1, ], ci[2, ]))
n <- sample(20:400, 40); f <- floor(n * runif(40, .02, .5)); d <- floor(n * runif(40, .05, .9)); k <- rpois(40, f * d / n)
got <- work("exact", data.frame(law = "hypergeometric", k = k, pots = n, failed = f, drawn = d))
same("exact: hypergeometric tails are phyper", got$p_upper, phyper(k - 1, f, n - f, d, lower.tail = FALSE), abs = 0)
got <- work("exact", data.frame(law = "binomial", k = pmin(k, n), n = n, p = .1))
same("exact: binomial tails are pbinom", got$p_upper, pbinom(pmin(k, n) - 1, n, .1, lower.tail = FALSE), abs = 0)

# ---- breakage: the definition, in vectors ----
B <- 30; X <- matrix(runif(5 * B, 0, 5000), B); D <- matrix(rpois(5 * B, 1.5), B); pots <- 40 + rowSums(D)
t <- data.frame(batch = paste0("b", 1:B), pots_out = pots, X, D)
names(t)[-(1:2)] <- c(paste0("days_", c(0, 30, 90, 180, 365)), paste0("failed_", c(0, 30, 90, 180, 365)))
got <- work("breakage", t)
lam0 <- .012 / 30.4375
E <- sapply(1:B, function(b) sum((3 + colSums(D[-b, ])) / (3 / lam0 + colSums(X[-b, ])) * X[b, ]))
O <- rowSums(D)
same("breakage: expected, each batch left out", got$expected, E)
same("breakage: tails", c(got$p_poisson, got$p_hypergeometric),
     c(ppois(O - 1, E, lower.tail = FALSE), phyper(O - 1, sum(O), sum(pots) - sum(O), pots, lower.tail = FALSE)))

# ---- seep: integrate() over the definitions ----
quad <- function(f, a, b) integrate(f, a, b, rel.tol = 1e-11, subdivisions = 2000)$value
seep_r <- function(shape, r0, R, H, tw, tb, start, drop, seconds) {   # metres
  p <- R^2 / H; m <- (R - r0) / H
  r <- switch(shape, frustum = function(z) r0 + m * z, cylinder = function(z) r0 + 0 * z,
              paraboloid = function(z) sqrt(p * z), hemisphere = function(z) sqrt(pmax(0, z * (2 * R - z))))
  rds <- switch(shape, frustum = function(z) r(z) * sqrt(1 + m^2), cylinder = r,
                paraboloid = function(z) sqrt(p * z + p^2 / 4), hemisphere = function(z) R + 0 * z)
  flat <- shape %in% c("frustum", "cylinder")
  F <- Vectorize(function(h) quad(function(z) (h - z) * 2 * pi * rds(z) / tw, 0, h) + if (flat) pi * r0^2 * h / tb else 0)
  fall <- function(a, b) quad(function(h) pi * r(h)^2 / F(h), a, b)
  V <- function(h) quad(function(z) pi * r(z)^2, 0, h)
  K <- fall(start - drop, start) / seconds
  end <- uniroot(function(h) fall(h, H) - K * 3600, c(H * 1e-3, H * (1 - 1e-9)), tol = 1e-13)$root
  c(K, 1000 * (V(H) - V(end)))
}
cs <- expand.grid(shape = c("frustum", "cylinder", "paraboloid", "hemisphere"), i = 1:6, stringsAsFactors = FALSE)
cs <- within(cs, { r0 <- round(runif(24, 80, 110)); R <- round(runif(24, 110, 150)); H <- round(runif(24, 180, 260))
  H[shape == "hemisphere"] <- R[shape == "hemisphere"]; tw <- round(runif(24, 10, 18)); tb <- round(runif(24, 10, 18))
  start <- round(H * runif(24, .6, 1)) / 10; drop <- round(start * runif(24, .1, .6), 1); hours <- round(runif(24, 3, 14), 1) })
want <- mapply(function(shape, r0, R, H, tw, tb, start, drop, hours)
  seep_r(shape, r0 / 1e3, R / 1e3, H / 1e3, tw / 1e3, tb / 1e3, start / 100, drop / 100, hours * 3600),
  cs$shape, cs$r0, cs$R, cs$H, cs$tw, cs$tb, cs$start, cs$drop, cs$hours)
got <- work("seep", with(cs, data.frame(shape, base_radius_mm = r0, rim_radius_mm = R, depth_mm = H, wall_mm = tw,
  base_mm = tb, start_cm = start, drop_cm = drop, hours)))
same("seep: conductivity is that of R's quadrature", got$k_m_s, want[1, ], rel = 1e-8, abs = 0)
same("seep: first hour is that of R's quadrature", got$first_hour_l, want[2, ], rel = 1e-7, abs = 0)

# ---- drift: KalmanRun, StructTS ----
level_options <- function(r, q, P1 = 1e7) c("--prior-level=0", paste0("--prior-sd=", sprintf("%.17g", sqrt(P1))), "--prior-slope=0",
  "--prior-slope-sd=0", "--slope-var=0", paste0("--level-var=", q), paste0("--reading-var=", r), "--cap=0", "--service=0", "--start=1")
nile <- as.numeric(Nile); keep <- setdiff(1:100, c(21:40, 61:80))
for (v in list(list("Nile", 1:100), list("Nile with gaps", keep))) {
  y <- nile; y[-v[[2]]] <- NA
  md <- list(T = matrix(1), Z = 1, h = 15099, V = matrix(1469.1), a = 0, P = matrix(1e7), Pn = matrix(1e7))
  run <- KalmanRun(y, md, update = FALSE)
  got <- work("drift", data.frame(pot = "nile", day = v[[2]], log_flow = nile[v[[2]]]), level_options(15099, 1469.1))
  same(paste("drift: filtered levels are KalmanRun's,", v[[1]]), got$level, run$states[v[[2]], 1])
}
# KalmanLike leaves out F over 1e4, so the Nile stands in hundreds here.
md <- list(T = matrix(1), Z = 1, h = 1.5099, V = matrix(.14691), a = 0, P = matrix(1e3), Pn = matrix(1e3))
like <- KalmanLike(nile / 100, md)
got <- work("drift", data.frame(pot = "nile", day = 1:100, log_flow = nile / 100), level_options(1.5099, .14691, 1e3))
s2 <- mean(got$innovation^2 / got$variance)
same("drift: likelihood is KalmanLike's", c(.5 * (log(s2) + mean(log(got$variance))), s2), c(like$Lik, like$s2), rel = 1e-9)
ours <- function(p) -sum(work("drift", data.frame(pot = "nile", day = 1:100, log_flow = nile), level_options(exp(p[1]), exp(p[2])))$log_lik[-1])
fit <- optim(log(c(10000, 3000)), ours, control = list(reltol = 1e-10, maxit = 200))
st <- StructTS(nile, "level")
same("drift: the Nile's variances are StructTS's", exp(fit$par), unname(st$coef[c("epsilon", "level")]), rel = 2e-3)
same("drift: log-likelihood of Durbin & Koopman, -632.544", -fit$value, -632.544, rel = 0, abs = 1e-3)

# irregular times, scrubs, no cap: one joint Gaussian, conditioned
for (i in 1:5) {
  t <- sort(sample(5:900, 10)); s <- sort(sample(t[-1], 2)); y <- .8 - .002 * t + rnorm(10, 0, .25)
  tab <- data.frame(pot = "p", day = t, log_flow = y, scrub = as.integer(t %in% s))
  got <- work("drift", tab, c("--cap=0", "--service=0"))
  mean <- log(2.2) - .0022 * t + .25 * sapply(t, function(u) sum(s <= u))
  C <- outer(t, t, Vectorize(function(a, b) { u <- min(a, b); w <- max(a, b)
    .25^2 + 1e-6 * a * b + 1e-4 * u + 1e-9 * u^2 * (3 * w - u) / 6 + .04 * sum(s <= u) }))
  S <- C + diag(.04, 10); last <- C[10, ] %*% solve(S)
  same(paste("drift: irregular times and scrubs are a joint Gaussian,", i),
       c(got$level[10], got$p11[10]), c(mean[10] + last %*% (y - mean), C[10, 10] - last %*% C[10, ]), rel = 1e-8)
}

# ---- wear: the survival package (r-cran-survival) on its own data ----
if (requireNamespace("survival", quietly = TRUE)) {
  library(survival)
  sets <- list(
    lung = with(lung, data.frame(group = sex, entry = 0, exit = time, failed = status - 1, stratum = ph.ecog)),
    veteran = with(veteran, data.frame(group = celltype, entry = 0, exit = time, failed = status, stratum = prior)),
    colon = with(colon[colon$etype == 2, ], data.frame(group = rx, entry = 0, exit = time, failed = status, stratum = sex)),
    heart = with(heart, data.frame(group = transplant, entry = start, exit = stop, failed = event, stratum = 0)))
  for (name in names(sets)) {
    d <- na.omit(sets[[name]]); d$group <- as.character(d$group)
    f <- survfit(Surv(entry, exit, failed) ~ group, d, conf.type = "log-log", timefix = FALSE)
    got <- work("wear", d[c("group", "entry", "exit", "failed")])
    same(paste("wear: survival, interval and hazard are survfit's,", name),
         c(got$at_risk, got$survival, got$hazard, got$hazard_se), c(f$n.risk, f$surv, f$cumhaz, f$std.chaz))
    inner <- f$surv > 0 & f$surv < 1
    same(paste("wear: log-log intervals are survfit's,", name), c(got$low[inner], got$high[inner]), c(f$lower[inner], f$upper[inner]))
    if (name == "heart") next   # survdiff takes no delayed entry
    s <- survdiff(Surv(exit, failed) ~ group, d)
    got <- work("logrank", d[c("group", "exit", "failed")])
    same(paste("logrank: survdiff,", name), c(got$expected, got$chisq[1], got$p[1]),
         c(s$exp, s$chisq, pchisq(s$chisq, length(s$exp) - 1, lower.tail = FALSE)))
    s <- survdiff(Surv(exit, failed) ~ group + strata(stratum), d)
    got <- work("logrank", d[c("group", "exit", "failed", "stratum")])
    same(paste("logrank: survdiff with strata,", name), c(got$expected, got$chisq[1]), c(rowSums(s$exp), s$chisq))
  }
  # cause: one number of the batch (institution), robust by batch, G/(G - 1)
  d <- na.omit(lung[c("inst", "time", "status", "age", "sex")])
  d$value <- round(ave(d$age, d$inst), 3)
  f <- coxph(Surv(time, status) ~ value + strata(sex), d, cluster = inst, ties = "efron")
  g <- length(unique(d$inst)); se <- sqrt(f$var[1, 1] * g / (g - 1))
  got <- work("cause", data.frame(batch = d$inst, stratum = d$sex, exit = d$time, failed = d$status - 1, peak_degc = d$value))
  got <- got[got$variable == "peak_degc", ]
  same("cause: coxph, robust by batch", c(got$ratio, got$low, got$high, got$p),
       c(exp(coef(f)), exp(coef(f) + c(-1, 1) * qt(.95, g - 1) * se),
         pf((coef(f) / se)^2, 1, g - 1, lower.tail = FALSE)))
} else cat("# the survival package (r-cran-survival) is not installed\n")

cat("1..", cases, "\n", sep = "")
quit(status = failed > 0)
