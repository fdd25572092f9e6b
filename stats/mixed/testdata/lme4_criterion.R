# Prints the criteria that TestCriterionLme4 expects: lme4's deviance function
# at fixed theta, REML and ML. Run in testdata/reference/data:
#
#   Rscript ../../../stats/mixed/testdata/lme4_criterion.R
suppressPackageStartupMessages(library(lme4))
at <- function(id, form, theta) {
  data <- read.csv(paste0(id, ".csv"))
  for (reml in c(TRUE, FALSE)) {
    f <- lmer(form, data, REML = reml, devFunOnly = TRUE)
    cat(sprintf("%s %s theta %s: %.12f\n", id, if (reml) "REML" else "ML", paste(theta, collapse = " "), f(theta)))
  }
}
at("c_pastes_nested", strength ~ 1 + (1 | cask:batch) + (1 | batch), c(2.5, 1.25))
at("c_penicillin_crossed", diameter ~ 1 + (1 | plate) + (1 | sample), c(1.5, 3))
at("c_sleepstudy_slope", Reaction ~ Days + (Days | Subject), c(0.9, 0.02, 0.25))
at("c_sleepstudy_uncorrelated", Reaction ~ Days + (1 | Subject) + (0 + Days | Subject), c(1, 0.25))
at("e_machines_block", score ~ Machine + (1 | Worker) + (1 | Worker:Machine), c(5, 4))
at("c_dyestuff2_boundary", Yield ~ 1 + (1 | Batch), 0)
