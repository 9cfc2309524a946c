#include "analysis/trial/separate_design.h"

#include <gmock/gmock.h>

namespace roundel::trial {
namespace {

using testing::ElementsAre;
using testing::HasSubstr;

Part part(const std::string& name, bool (*is_told)(int order)) {
  Part out;
  out.name = name;
  for (int order = 1; order <= told_orders; ++order) {
    PartHarmonic one;
    one.order = order;
    one.identified = is_told(order);
    out.harmonics.push_back(one);
  }
  return out;
}

Separation of(std::vector<Arrangement> arrangements, bool (*is_told)(int order)) {
  Separation out;
  out.arrangements = std::move(arrangements);
  out.antennas = {part("collinear", is_told)};
  out.mounts = {part("gable", is_told)};
  out.receivers = {part("rx1", is_told)};
  return out;
}

// Method, section 9: an order n is not identified when n times the rotation is a multiple of 360
// degrees: with one rotation none is.
TEST(SeparateDesign, OneRotationTellsNothingAndATurnIsAdvised) {
  const auto result = of({{"collinear", "rx1", "gable", 0, 100, 16}}, [](int) { return false; });
  const Design design(result.arrangements);
  EXPECT_THAT(design.not_identified(result),
              ElementsAre("Orders 1 to 6 of antenna collinear cannot be told from the mount's: it "
                          "stood at 0 degrees only",
                          "Orders 1 to 6 of mount gable cannot be told from the antenna's"));
  const auto advice = design.advice(result);
  ASSERT_FALSE(advice.empty());
  EXPECT_THAT(advice[0], testing::MatchesRegex(
                             "The trial that would help most: antenna collinear turned to "
                             "(45|60|90|135) degrees on mount gable with receiver rx1, for as long "
                             "as the others .16 h.\\."));
}

TEST(SeparateDesign, AQuarterTurnLeavesOrderFour) {
  const auto result =
      of({{"collinear", "rx1", "gable", 0, 100, 16}, {"collinear", "rx1", "gable", 90, 100, 16}},
         [](int order) { return order != 4; });
  const Design design(result.arrangements);
  EXPECT_THAT(design.not_identified(result)[0], HasSubstr("Order 4 of antenna collinear"));
  // Another quarter turn would repeat it.
  EXPECT_THAT(design.advice(result)[0], testing::Not(HasSubstr("turned to 180")));
}

TEST(SeparateDesign, SaysWhenAllIsToldApart) {
  const auto result =
      of({{"collinear", "rx1", "gable", 0, 100, 16}, {"collinear", "rx1", "gable", 75, 100, 16}},
         [](int) { return true; });
  const Design design(result.arrangements);
  EXPECT_TRUE(design.not_identified(result).empty());
  EXPECT_THAT(design.advice(result)[0], HasSubstr("All is told apart"));
}

TEST(SeparateDesign, AdvisesToSwapReceiversThatNeverWere) {
  auto result = of({{"collinear", "rx1", "gable", 0, 100, 16},
                    {"collinear", "rx1", "gable", 75, 100, 16},
                    {"spider", "rx2", "gable", 0, 100, 16},
                    {"spider", "rx2", "gable", 75, 100, 16}},
                   [](int) { return true; });
  result.antennas.push_back(part("spider", [](int) { return true; }));
  result.receivers.push_back(part("rx2", [](int) { return true; }));
  const Design design(result.arrangements);
  EXPECT_THAT(design.not_identified(result)[0],
              HasSubstr("How the receivers rx1 and rx2 differ in sensitivity cannot be told"));
  EXPECT_THAT(design.advice(result)[0],
              testing::ContainsRegex("collinear .*with receiver rx2|spider .*with receiver rx1"));
}

}  // namespace
}  // namespace roundel::trial
