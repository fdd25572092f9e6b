# Writes every case of this folder anew:  cd testdata/reference && Rscript make.R   (no network; about 5 minutes)
# Needs R >= 4.2 with lme4 lmerTest pbkrtest nlme emmeans multcomp mvtnorm survival car MASS boot jsonlite.
# The columns named *_mp come from R/nct_mp.py (python3 + mpmath) and are read from data/; rerun it only to refresh those.
source("R/lib.R"); source("R/cases.R")
only <- commandArgs(TRUE); run <- function(s) length(only) == 0 || s %in% only
suppressPackageStartupMessages({library(lme4); library(nlme); library(MASS); library(survival)})
lmer <- lme4::lmer
if (run("a")) {
  sec_nist_uni(); sec_nist_anova(); sec_nist_lin()
  sec_summary("a_nhtemp", as.numeric(nhtemp), rd_src("datasets", "nhtemp"))
  sec_summary("a_plantgrowth_ctrl", PlantGrowth$weight[PlantGrowth$group == "ctrl"], rd_src("datasets", "PlantGrowth"))
  sec_summary("a_precip", as.numeric(precip), rd_src("datasets", "precip"))
  sec_summary("a_synthetic_db12", c(61.2, 58.9, 63.4, 60.1, 57.7, 62.8, 59.5, 60.9, 64.2, 58.1, 61.7, 60.4), "synthetic, written for this set")
  sec_summary("a_edge_n2", c(51.25, 49.5), "synthetic edge case: two values")
  sec_summary("a_edge_n1", 52.5, "synthetic edge case: one value", notes = "no spread can be estimated: sd, se and every interval must be reported as unavailable, not 0")
  sec_summary("a_edge_constant", rep(50.25, 5), "synthetic edge case: all values equal", notes = "sd is exactly 0; a t interval of width 0 is arithmetic, not evidence: the program should warn")
}
if (run("b")) sec_dist("", "data/mp_nct_quantiles.csv", "data/mp_nct_cdf.csv", "data/mp_tolerance_k.csv", tk = c(2, 3, 4, 6, 10, 20), tv = c(1, 2, 3, 5, 10, 20, 60, 1000, Inf), tp = c(.5, .9, .95, .99, .999), dk = c(1, 2, 3, 5, 9), dv = c(2, 5, 10, 20, 60, Inf), mkn = 3:10, gn = c(3:20, 25, 30, 40, 50, 100), gal = c(.1, .05, .01), cN = c(2, 3, 4, 6, 10, 20, 40), cn = c(2, 3, 4, 5, 6, 10), pw_n = c(2, 3, 5, 8, 12, 20, 30, 60, 100), pw_d = c(.1, .25, .5, .75, 1, 1.5, 2, 3), zf = c(.5, .8, .9, .95, .99, .999))
if (run("c")) {
  d <- lme4::Dyestuff; sec_lmm("c_dyestuff", Yield ~ 1 + (1 | Batch), d, rd_src("lme4", "Dyestuff"), oneway_mom(d$Yield, d$Batch))
  d <- lme4::Dyestuff2; sec_lmm("c_dyestuff2_boundary", Yield ~ 1 + (1 | Batch), d, rd_src("lme4", "Dyestuff2"), oneway_mom(d$Yield, d$Batch), notes = "REML estimate of the batch variance is exactly 0. Satterthwaite df then equals N-1 = 29 while Kenward-Roger gives 5: report the boundary and prefer the safe 5 (number of batches minus 1).")
  d <- lme4::Dyestuff[-c(1:3, 8, 13, 14, 30), ]; sec_lmm("c_dyestuff_unbalanced", Yield ~ 1 + (1 | Batch), d, paste(rd_src("lme4", "Dyestuff"), "; rows 1,2,3,8,13,14,30 removed"), oneway_mom(d$Yield, d$Batch))
  d <- lme4::Pastes; sec_lmm("c_pastes_nested", strength ~ 1 + (1 | batch/cask), d, rd_src("lme4", "Pastes"), nested_mom(d$strength, d$batch, d$cask))
  sec_lmm("c_penicillin_crossed", diameter ~ 1 + (1 | plate) + (1 | sample), lme4::Penicillin, rd_src("lme4", "Penicillin"))
  sec_lmm("c_sleepstudy_slope", Reaction ~ Days + (Days | Subject), lme4::sleepstudy, rd_src("lme4", "sleepstudy"))
  sec_lmm("c_sleepstudy_uncorrelated", Reaction ~ Days + (1 | Subject) + (0 + Days | Subject), lme4::sleepstudy, rd_src("lme4", "sleepstudy"))
  d <- as.data.frame(nlme::Rail); sec_lmm("c_rail", travel ~ 1 + (1 | Rail), d, rd_src("nlme", "Rail"), oneway_mom(d$travel, as.character(d$Rail)))
  d <- as.data.frame(nlme::Oxide); d$Wafer <- factor(as.character(d$Wafer)); d$Lot <- factor(as.character(d$Lot)); sec_lmm("c_oxide_nested", Thickness ~ 1 + (1 | Lot/Wafer), d, rd_src("nlme", "Oxide"), nested_mom(d$Thickness, d$Lot, d$Wafer))
}
if (run("d")) {
  m <- MASS::motors; s <- rd_src("MASS", "motors")
  for (tp in c(170, 190, 220)) { k <- m$temp == tp; sec_cens(paste0("d_motors_log10_", tp), log10(m$time[k]), m$cens[k], paste(s, "; log10(time) at", tp, "degrees")) }
  k <- m$temp == 150; sec_cens("d_motors_150_all_censored", log10(m$time[k]), m$cens[k], paste(s, "; at 150 degrees no unit failed"))
  sec_cens_reg("d_motors_line", 1000/(m$temp[m$temp > 150] + 273.2), log10(m$time[m$temp > 150]), m$cens[m$temp > 150], paste(s, "; t = 1000/(temp+273.2)"))
  x <- c(61.2, 58.9, 63.4, 60.1, 57.7, 62.8, 59.5, 60.9, 64.2, 58.1)
  sec_cens("d_syn_none", x, rep(1, 10), "synthetic", notes = "no censoring: mu = mean, sigma = sqrt(SS/n) (divisor n)")
  sec_cens("d_syn_one", c(x, 65.0), c(rep(1, 10), 0), "synthetic, one censored")
  sec_cens("d_syn_same_limit", c(52.1, 54.4, 56.0, 57.3, 55.2, rep(58, 7)), c(rep(1, 5), rep(0, 7)), "synthetic, 7 of 12 at one common limit")
  sec_cens("d_syn_heavy", c(66.2, 63.8, 70.1, 69.9, 70.3, 70, 70.2, 69.8, 70.4, 70.1), c(1, 1, rep(0, 8)), "synthetic, 8 of 10 censored at differing limits")
  sec_cens("d_syn_one_observed", c(60.5, 61, 62.5, 63), c(1, 0, 0, 0), "synthetic, a single observed value below the limits")
  sec_cens("d_syn_unbounded", c(60.5, 58, 57, 59.2), c(1, 0, 0, 0), "synthetic, single observed value above every limit")
  sec_cens("d_syn_all", c(70.1, 69.8, 70.3), c(0, 0, 0), "synthetic, all censored")
}
if (run("e")) {
  sec_multcomp("e_plantgrowth", PlantGrowth$weight, PlantGrowth$group, "ctrl", rd_src("datasets", "PlantGrowth"))
  sec_multcomp("e_chickwts_unbalanced", chickwts$weight, chickwts$feed, "casein", rd_src("datasets", "chickwts"))
  m <- as.data.frame(nlme::Machines); m$Worker <- factor(as.character(m$Worker)); m$Machine <- factor(as.character(m$Machine))
  sec_block("e_machines_block", score ~ Machine + (1 | Worker) + (1 | Worker:Machine), m, "Machine", rd_src("nlme", "Machines"))
  sec_block("e_machines_block_simple_unbalanced", score ~ Machine + (1 | Worker), m[-c(2, 3, 17, 30, 31, 49), ], "Machine", paste(rd_src("nlme", "Machines"), "; rows 2,3,17,30,31,49 removed, interaction left out on purpose"))
}
if (run("f")) {
  sec_trend("f_lakehuron", as.numeric(time(LakeHuron)) - 1875, as.numeric(LakeHuron), 577, rd_src("datasets", "LakeHuron"))
  i1 <- Indometh[Indometh$Subject == 1, ]; sec_trend("f_indometh1_log", i1$time, log(i1$conc), -4, rd_src("datasets", "Indometh"))
  sec_trend("f_cars_tied_times", cars$speed, -cars$dist, -150, paste(rd_src("datasets", "cars"), "; y = -dist; repeated t values"))
  sec_trend("f_discoveries8_ties", 1:8, as.numeric(discoveries[1:8]), 0, paste(rd_src("datasets", "discoveries"), "; first 8 years, ties in y"))
  sec_trend("f_synthetic_ageing6", 0:5, c(63.1, 62.4, 62.9, 61.0, 60.2, 60.5), 50, "synthetic: one reading a year for six years")
  sec_trend("f_rising_never_crosses", 1:10, c(50.1, 51.2, 52.0, 53.1, 53.8, 55.2, 55.9, 57.1, 58.0, 59.2), 45, "synthetic: clearly rising, lower band never reaches the target")
  sec_trend("f_bod_weighted", BOD$Time, 30 - BOD$demand, 5, paste(rd_src("datasets", "BOD"), "; y = 30 - demand, weights 1,2,4,4,2,1"), w = c(1, 2, 4, 4, 2, 1))
  sec_ancova("f_toothgrowth_slopes", ToothGrowth$dose, ToothGrowth$len, ToothGrowth$supp, rd_src("datasets", "ToothGrowth"))
  d <- lme4::sleepstudy; d$y <- 500 - d$Reaction; s <- paste(rd_src("lme4", "sleepstudy"), "; y = 500 - Reaction so that the trend declines")
  sec_trend_mixed("f_sleepstudy_ri", y ~ Days + (1 | Subject), d, "Days", 100, c(0, 4.5, 9, 15), s)
  sec_trend_mixed("f_sleepstudy_ris", y ~ Days + (Days | Subject), d, "Days", 100, c(0, 4.5, 9, 15), s)
  sec_trend_mixed("f_sleepstudy_ris_unbalanced", y ~ Days + (Days | Subject), d[-c(3, 7, 18, 22:27, 50, 51, 77, 90, 101:104, 140, 160:166, 180), ], "Days", 100, c(0, 4.5, 9, 15), paste(s, "; 26 rows removed"))
}
if (run("g")) {
  d <- as.data.frame(nlme::Rail); sec_iso5725("g_rail_iso", d$travel, paste0("R", as.character(d$Rail)), rd_src("nlme", "Rail"))
  d <- lme4::Dyestuff; sec_iso5725("g_dyestuff_iso", d$Yield, d$Batch, rd_src("lme4", "Dyestuff"))
  sec_iso5725("g_chickwts_iso_unbalanced", chickwts$weight, chickwts$feed, rd_src("datasets", "chickwts"))
  d <- lme4::Pastes; sec_nested("g_pastes_nested", d$strength, d$batch, d$cask, rd_src("lme4", "Pastes"))
  d <- as.data.frame(nlme::Oxide); sec_nested("g_oxide_nested", d$Thickness, as.character(d$Lot), as.character(d$Wafer), rd_src("nlme", "Oxide"))
  m <- nlme::Machines; sec_grr("g_machines_grr", m$score, paste0("W", as.character(m$Worker)), as.character(m$Machine), rd_src("nlme", "Machines"))
}
if (run("h")) {
  sec_boot("h_syn8", c(48, 52, 55, 57, 58, 60, 61, 75), "synthetic, right-skewed, n=8")
  sec_boot("h_plantgrowth_trt1", PlantGrowth$weight[PlantGrowth$group == "trt1"], rd_src("datasets", "PlantGrowth"))
  d <- as.data.frame(nlme::Rail); sec_cluster_boot("h_rail_clusters", d$travel, paste0("R", as.character(d$Rail)), rd_src("nlme", "Rail"))
  d <- lme4::Dyestuff[-c(1:3, 8, 13, 14, 30), ]; sec_cluster_boot("h_dyestuff_unbalanced_clusters", d$Yield, d$Batch, paste(rd_src("lme4", "Dyestuff"), "; rows 1,2,3,8,13,14,30 removed"))
}
if (length(only) == 0) { writeLines(capture.output(print(sessionInfo())), "sessionInfo.txt") }
