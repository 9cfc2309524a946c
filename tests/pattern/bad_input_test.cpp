// What people really have on the first evening, or after a mistake: one clear sentence, never a
// pass, never a NaN.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <functional>
#include <random>

#include "roundel/pattern/verdict.h"
#include "roundel/present/reach.h"
#include "roundel/present/verdict.h"
#include "roundel/site/limit.h"
#include "tests/schema/store_fixture.h"

namespace roundel::pattern {
namespace {

using testing::HasSubstr;
using testing::Not;

struct Traffic {
  std::vector<schema::Flight> flights;
  std::vector<schema::Cell> cells;  // by window

  // Flies level from one offset to the other (degrees of latitude and longitude), a cell a window.
  void fly(std::int64_t first, int n, double north0, double east0, double north1, double east1,
           const std::function<int(int)>& heard, double altitude_ft = 35'000) {
    const auto id = static_cast<schema::Id>(flights.size()) + 1;
    flights.push_back({id, 1, 0x400000U + static_cast<std::uint64_t>(id), first, first + n - 1});
    for (int i = 0; i < n; ++i) {
      const double t = n > 1 ? static_cast<double>(i) / (n - 1) : 0;
      cells.push_back({first + i,
                       id,
                       heard(i),
                       20,
                       52.1 + north0 + t * (north1 - north0),
                       19.4 + east0 + t * (east1 - east0),
                       altitude_ft,
                       {},
                       0});
    }
  }
  // Across the site from everywhere to everywhere.
  void criss_cross(int n, const std::function<int(int)>& heard) {
    std::mt19937_64 draw(7);
    for (int i = 0; i < n; ++i) {
      const double a = static_cast<double>(draw() % 3600) * 0.00174533, b = a + 2 + 0.001 * i;
      fly(100 + 5 * i, 120, 2.5 * std::cos(a), 4 * std::sin(a), 2.5 * std::cos(b), 4 * std::sin(b),
          heard);
    }
  }
};

struct Case {
  const char* name;
  std::function<void(Traffic&)> fill;
};

const std::vector<Case>& cases() {
  const auto all = [](int) { return 20; };
  const auto none = [](int) { return 0; };
  static const std::vector<Case> list{
      {"nothing", [](Traffic&) {}},
      {"one cell", [all](Traffic& t) { t.fly(100, 1, 1, 0, 1, 0, all); }},
      {"one flight",
       [](Traffic& t) { t.fly(100, 200, 2.5, -0.5, -2.5, 0.7, [](int i) { return 6 + i % 9; }); }},
      {"one sector",
       [](Traffic& t) {
         for (int i = 0; i < 200; ++i)
           t.fly(100 + 3 * i, 60, 0.5, 0.5, 2.5, 2.6, [i](int c) { return (i + c) % 18; });
       }},
      {"all silent", [none](Traffic& t) { t.criss_cross(150, none); }},
      {"all heard", [all](Traffic& t) { t.criss_cross(150, all); }},
      {"all identical",
       [](Traffic& t) {
         for (int i = 0; i < 300; ++i) t.fly(100, 40, 1, 1, 1, 1, [](int) { return 12; });
       }},
      {"overhead",
       [](Traffic& t) {
         for (int i = 0; i < 50; ++i) t.fly(100 + i, 40, 0, 0, 0, 0, [](int) { return 15; });
       }},
      {"on the ground",
       [](Traffic& t) {
         for (int i = 0; i < 50; ++i)
           t.fly(
               100 + i, 40, 0.1, 0.01 * i, 0.2, 0.01 * i, [](int) { return 15; }, -1000);
       }},
      {"more heard than sent", [](Traffic& t) { t.criss_cross(60, [](int) { return 90; }); }},
  };
  return list;
}

class BadInput : public testing::TestWithParam<Case> {};

TEST_P(BadInput, GivesOneSentenceAndNoNan) {
  Traffic traffic;
  GetParam().fill(traffic);
  std::stable_sort(traffic.cells.begin(), traffic.cells.end(),
                   [](const auto& a, const auto& b) { return a.window < b.window; });
  const auto viewpoint = *site::Viewpoint::from({"Hill house", 52.1, 19.4, 110, 12, 100});
  const auto limit = site::horizon_limit(viewpoint, site::Refraction());
  ExposureBuilder exposure(viewpoint, 5);
  ReachBuilder ranges(viewpoint, *limit, {}, traffic.flights, {});
  for (const schema::Cell& cell : traffic.cells) {
    exposure.add(cell, *schema::find_flight(traffic.flights, cell.flight));
    ranges.add(cell);
  }
  const Reach reach = ranges.finish();
  const Verdict verdict = judge(exposure.finish(), reach, {});
  EXPECT_NE(verdict.answer, Answer::omnidirectional) << "want of evidence is no pass";
  const std::string sentence = present::verdict_sentence(verdict);
  EXPECT_GT(sentence.size(), 20U);
  EXPECT_EQ(sentence.back(), '.');
  std::string said = sentence + present::verdict_json(verdict, {}) +
                     present::verdict_svg(verdict, "Hill house") + present::reach_json(reach) +
                     present::reach_sentence(reach, present::Units::metric);
  for (const std::string& line : present::verdict_advice(verdict)) said += line;
  for (const char* never : {"nan", "NaN", "inf ", "inf,", "-inf"})
    EXPECT_THAT(said, Not(HasSubstr(never)));
}

INSTANTIATE_TEST_SUITE_P(Traffic, BadInput, testing::ValuesIn(cases()), [](const auto& of) {
  std::string name = of.param.name;
  for (char& c : name)
    if (c == ' ') c = '_';
  return name;
});

TEST(BadStore, SaysWhatIsMissingOrContradicts) {
  const schema::Folder folder;
  auto store = schema::must(schema::Store::open(folder / "a.db", schema::Store::Access::record));
  const auto without_site = verdict(store, {}, 5, {});
  ASSERT_FALSE(without_site);
  EXPECT_EQ(without_site.error().code, Errc::not_found);
  EXPECT_THAT(without_site.error().line(), HasSubstr("site"));

  schema::must(store.set_site({"Hill house", 52.1, 19.4, 110, 12, 100}));
  const auto empty = verdict(store, {}, 5, {});
  ASSERT_TRUE(empty) << empty.error().line();
  EXPECT_EQ(empty->answer, Answer::undecided);
  EXPECT_EQ(empty->flights, 0);

  const auto first =
      schema::must(store.start_trial(schema::trial_on("roof", "collinear", schema::day_s)));
  schema::must(store.start_trial(schema::trial_on("roof", "spider", schema::day_s + 3600)));
  const auto two = verdict(store, {}, 5, {});
  ASSERT_FALSE(two);
  EXPECT_EQ(two.error().code, Errc::bad_usage);
  for (const char* said : {"collinear", "spider", "--antenna"})
    EXPECT_THAT(two.error().line(), HasSubstr(said));

  schema::Trial turned = schema::trial_on("roof", "spider", schema::day_s + 7200);
  turned.rotation_deg = 90;
  schema::must(store.start_trial(turned));
  schema::Selection spider;
  spider.antenna = "spider";
  const auto rotations = verdict(store, spider, 5, {});
  ASSERT_FALSE(rotations);
  EXPECT_THAT(rotations.error().line(), HasSubstr("two rotations"));
  schema::Selection one;
  one.trials = {first.id};
  EXPECT_TRUE(verdict(store, one, 5, {}));
}

}  // namespace
}  // namespace roundel::pattern
