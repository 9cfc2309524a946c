#include "roundel/trial/mast_fit.h"

#include <gtest/gtest.h>

#include <cmath>

#include "roundel/pattern/circle.h"
#include "roundel/trial/mast_model.h"

namespace roundel::trial {
namespace {

/// Gains by 5 degrees, each known to 0.1 dB.
template <class Of>
pattern::Curve curve_of(const Of& gain_db) {
  pattern::Curve out;
  out.value.resize(72);
  out.covariance = Eigen::MatrixXd::Identity(72, 72) * 0.01;
  out.known.assign(72, true);
  for (int s = 0; s < 72; ++s) out.value[s] = gain_db(2.5 + 5 * s);
  return out;
}

struct Row {
  const char* name;
  double radius_mm, spacing_mm, bearing_deg;
};

// The figures asked for are 10 % of spacing and 5 degrees; without noise a tenth of that is left
// for the mean over a sector, which the fit makes and these gains do not.
TEST(MastFit, FindsTheMastThatMadeThePattern) {
  for (const Row& row : {Row{"0.3 wavelengths", 25, 83, 53}, Row{"half a wavelength", 25, 138, 359},
                         Row{"1 wavelength", 25, 275, 200}, Row{"feeder", 4, 60, 120},
                         Row{"2 wavelengths", 40, 550, 10}}) {
    SCOPED_TRACE(row.name);
    const auto mast = MastModel::make(row.radius_mm, row.spacing_mm);
    ASSERT_TRUE(mast);
    const MastFit fit =
        fit_mast(curve_of([&](double bearing) { return mast->gain_db(bearing, row.bearing_deg); }));
    EXPECT_EQ(name_of(fit.answer), "explains");
    EXPECT_NEAR(fit.spacing_mm.value, row.spacing_mm, 0.01 * row.spacing_mm);
    EXPECT_NEAR(std::remainder(fit.bearing_deg.value - row.bearing_deg, 360), 0, 0.5);
    EXPECT_NEAR(fit.radius_mm.value, row.radius_mm, 0.1 * row.radius_mm);
    EXPECT_LE(fit.spacing_mm.low, row.spacing_mm);
    EXPECT_GE(fit.spacing_mm.high, row.spacing_mm);
    EXPECT_NEAR(fit.ripple_db, mast->ripple_db(), 0.3);
  }
}

TEST(MastFit, SaysThatAFlatPatternNeedsNone) {
  const MastFit fit = fit_mast(curve_of([](double) { return 0.0; }));
  EXPECT_EQ(name_of(fit.answer), "flat");
}

// Three equal lobes: a mast to one side makes one side differ from the other.
TEST(MastFit, SaysThatNoMastMakesThreeLobes) {
  const MastFit fit =
      fit_mast(curve_of([](double bearing) { return 3 * std::cos(3 * bearing * M_PI / 180); }));
  EXPECT_EQ(name_of(fit.answer), "fails");
  EXPECT_LT(fit.explains, 0.7);
}

TEST(MastFit, NeedsBearingsThatAreKnown) {
  pattern::Curve curve = curve_of([](double) { return 0.0; });
  for (std::size_t s = 8; s < 72; ++s) curve.known[s] = false;
  EXPECT_TRUE(fit_mast(curve).gain_db.empty());
}

}  // namespace
}  // namespace roundel::trial
