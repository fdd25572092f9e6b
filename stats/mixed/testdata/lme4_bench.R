# Times lme4 on the designs of BenchmarkFit (bench_test.go), the fit alone:
# formula, data and model matrices are ready, deviance function and optimiser
# are timed. Run both close together and compare ratios, not milliseconds:
#
#   Rscript testdata/lme4_bench.R
#   go test -run XXX -bench Fit .
#
# Values are drawn here with the same variances, not the same numbers.
suppressPackageStartupMessages(library(lme4))
campaign <- function(boxes, runs, closings, crossed) {
  n <- boxes * runs * closings
  box <- rep(seq_len(boxes), each = runs * closings)
  session <- rep(rep(seq_len(runs), each = closings), boxes)
  visit <- (box - 1) * runs + session
  y <- 62 + 3 * rnorm(boxes)[box] + 1.5 * rnorm(boxes * runs)[visit] + 2 * rnorm(n)
  if (crossed) y <- y + rnorm(runs)[session]
  data.frame(y, box = factor(box), session = factor(session), visit = factor(visit))
}
designs <- list(c(10, 1, 10, 0), c(1000, 1, 10, 0), c(10000, 1, 10, 0), c(20, 5, 10, 0), c(200, 5, 10, 0),
  c(2000, 5, 10, 0), c(20, 5, 10, 1), c(2000, 5, 10, 1), c(100, 40, 10, 1))
set.seed(11)
for (d in designs) {
  data <- campaign(d[1], d[2], d[3], d[4] == 1)
  form <- if (d[2] == 1) y ~ 1 + (1 | box) else if (d[4] == 1) y ~ 1 + (1 | box) + (1 | session) + (1 | visit) else
    y ~ 1 + (1 | box) + (1 | visit)
  lf <- lFormula(form, data, REML = TRUE)
  times <- replicate(5, system.time({
    f <- do.call(mkLmerDevfun, lf)
    optimizeLmer(f)
  })[["elapsed"]])
  whole <- replicate(3, system.time(lmer(form, data))[["elapsed"]])
  cat(sprintf("%dx%dx%d-%s: fit alone %.4f s (least of %d; median %.4f), lmer() whole %.4f s\n", d[1], d[2], d[3],
    if (d[4] == 1) "crossed" else "nested", min(times), length(times), median(times), min(whole)))
}
