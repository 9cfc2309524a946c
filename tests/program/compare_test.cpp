// roundel compare, as a person runs it.
#include "roundel/present/compare.h"

#include <gmock/gmock.h>

#include <nlohmann/json.hpp>

#include "tests/present/well_formed.h"
#include "tests/program/run_program.h"
#include "tests/program/simulated_store.h"

namespace roundel {
namespace {

using nlohmann::json;
using testing::HasSubstr;

class CompareProgram : public testing::Test {
 protected:
  Ran compare(std::vector<std::string> words) {
    words.insert(words.begin(), {"compare", file_.string()});
    return run_program(ROUNDEL_BINARY_DIR "/analysis/program/roundel", words, folder_ / ".");
  }
  /// Collinear on the roof's rx1, spider on the shed's rx2, at once for an hour and a half at noon;
  /// the collinear is 4 dB better. Then the roof hears nothing in a trial of a whip.
  void record() {
    simulate::Scenario s;
    s.start_s += 12 * 3600;
    s.hours = 1.5;
    s.antenna("collinear").gain_db = 4;
    s.antenna("spider");
    s.receiver("rx1");
    s.receiver("rx2");
    s.mount("gable");
    s.trial({"roof", "collinear", "rx1", "gable", 0, 0, {}});
    s.trial({"shed", "spider", "rx2", "gable", 0, 0, {}});
    store_simulated(s, file_);
    auto store = schema::must(schema::Store::open(file_, schema::Store::Access::write));
    schema::Trial silent = schema::trial_on("roof", "whip", schema::day_s + 86'400);
    schema::must(store.start_trial(silent));
  }
  schema::Folder folder_;
  std::filesystem::path file_ = folder_ / "roundel.db";
};

TEST_F(CompareProgram, TellsWhichHearsMoreAndWhatMayBeToBlame) {
  record();
  const std::vector<std::string> sides{"--a", "antenna=collinear", "--b", "antenna=spider"};
  auto with_svg = sides;
  with_svg.insert(with_svg.end(), {"--svg", (folder_ / "difference.svg").string()});
  const Ran text = compare(with_svg);
  EXPECT_EQ(text.code, 0) << text.err;
  EXPECT_THAT(text.out,
              testing::ContainsRegex("^collinear hears [345]\\.[0-9] dB more overall than "
                                     "spider \\(95% interval "));
  EXPECT_THAT(text.out, HasSubstr("; paired.\n"));
  EXPECT_THAT(text.out, HasSubstr("Confounded: receiver: collinear was on rx1, spider on rx2. To "
                                  "resolve it: swap the receivers half-way"));
  EXPECT_TRUE(present::is_well_formed(schema::bytes_of(folder_ / "difference.svg")));

  auto as_json = sides;
  as_json.emplace_back("--json");
  const json out = json::parse(compare(as_json).out);
  EXPECT_LT(out["difference_db"]["low"], 4);
  EXPECT_GT(out["difference_db"]["high"], 4);
  EXPECT_EQ(out["paired"], true);
  EXPECT_EQ(out["verdict"], "a_better");
  ASSERT_EQ(out["sectors"].size(), 72U);
  EXPECT_EQ(out["sectors"][0]["bearing_deg"], 2.5);
  EXPECT_EQ(out["confounded"].size(), 1U);
  const auto& tally = out["first_last"];
  EXPECT_GT(tally["a_first"].get<int>(), tally["b_first"].get<int>());

  const auto page = folder_ / "collinear.html";
  ASSERT_EQ(run_program(ROUNDEL_BINARY_DIR "/analysis/program/roundel",
                        {"report", file_.string(), "--antenna", "collinear", "--against",
                         "antenna=spider", "-o", page.string()},
                        folder_ / ".")
                .code,
            0);
  const std::string html = schema::bytes_of(page);
  const auto mounted = html.find("What was mounted when");
  ASSERT_NE(mounted, html.npos);
  EXPECT_LT(html.find("<td>spider</td>", mounted), html.npos)
      << "of both, as both bear on the comparison";

  // The other way round it is the same with another sign.
  const json turned =
      json::parse(compare({"--a", "antenna=spider", "--b", "antenna=collinear", "--json"}).out);
  EXPECT_NEAR(turned["difference_db"]["value"].get<double>(),
              -out["difference_db"]["value"].get<double>(), 0.01);
}

TEST_F(CompareProgram, PlansASwapWhereThereAreTwoReceivers) {
  record();
  const std::vector<std::string> asked{"--a", "antenna=collinear", "--b", "antenna=new", "--plan",
                                       "6"};
  const Ran text = compare(asked);
  EXPECT_EQ(text.code, 0) << text.err;
  EXPECT_THAT(text.out, testing::ContainsRegex("^To expect after 6 days of traffic like that seen "
                                               "\\([0-9]+ flights in 2 h\\): the difference to "
                                               "within 0\\.[0-9]+ dB overall, and "));
  auto as_json = asked;
  as_json.emplace_back("--json");
  const json out = json::parse(compare(as_json).out);
  EXPECT_EQ(out["both_at_once"], true);
  ASSERT_EQ(out["steps"].size(), 2U);
  EXPECT_EQ(out["steps"][1]["from_day"], 3.0);
  EXPECT_EQ(out["steps"][0]["mountings"][0]["receiver"], "rx1");
  EXPECT_EQ(out["steps"][1]["mountings"][0]["receiver"], "rx2");
  EXPECT_EQ(out["steps"][1]["mountings"][1]["antenna"], "new");
  // Four times the days, half the width, but for the 0.02 dB that stay.
  auto longer = as_json;
  longer[5] = "24";
  const json four = json::parse(compare(longer).out);
  EXPECT_NEAR(four["sector_half_width_db"].get<double>(),
              out["sector_half_width_db"].get<double>() / 2, 0.002);
}

trial::Comparison comparison(double value_db, double half_db) {
  trial::Comparison out;
  out.name_a = "collinear";
  out.name_b = "spider";
  out.difference = {value_db, value_db - half_db, value_db + half_db};
  out.sectors.resize(72);
  for (std::size_t s = 0; s < 72; ++s)
    out.sectors[s].bearing_deg = 2.5 + 5.0 * static_cast<double>(s);
  return out;
}
void decide(trial::Comparison& c, std::size_t from, std::size_t to, double db) {
  for (std::size_t s = from; s < to; ++s) {
    c.sectors[s].difference_db = db;
    c.sectors[s].significant = true;
  }
}

// It once named the same bearings twice where the second heard more.
TEST(CompareSentence, NamesWhereTheOtherIsBetterOnce) {
  auto b_leads = comparison(-1.4, 0.2);
  decide(b_leads, 0, 30, -2);
  decide(b_leads, 38, 46, 1.5);
  EXPECT_EQ(present::compare_sentence(b_leads),
            "spider hears 1.4 dB more overall than collinear (95% interval +1.2 to +1.6), but "
            "collinear is better at 190 to 230 degrees.");
  auto a_leads = comparison(1.4, 0.2);
  decide(a_leads, 0, 30, 2);
  decide(a_leads, 38, 46, -1.5);
  EXPECT_EQ(present::compare_sentence(a_leads),
            "collinear hears 1.4 dB more overall than spider (95% interval +1.2 to +1.6), but "
            "spider is better at 190 to 230 degrees.");
  EXPECT_EQ(present::compare_sentence(comparison(0.1, 0.2)),
            "No difference between collinear and spider is seen overall: +0.1 dB (95% interval "
            "-0.1 to +0.3), nor on any bearing for itself.");
}

struct Refused {
  const char* name;
  std::vector<std::string> words;
  int code;
  const char* line;
};

TEST_F(CompareProgram, RefusesInOneLineWhatMakesNoSense) {
  record();
  const std::string a = "antenna=collinear", b = "antenna=spider";
  const std::vector<Refused> all{
      {"the same twice",
       {"--a", a, "--b", a},
       2,
       "both sides hold the same cells of trial 1 (collinear on roof)"},
      {"unknown antenna", {"--a", a, "--b", "antenna=discone"}, 1, "discone"},
      {"two at once on one side",
       {"--a", "from=2026-03-01", "--b", b},
       2,
       "trials 1 and 2 ran at the same time on feeds roof and shed"},
      {"no flights",
       {"--a", a, "--b", "antenna=whip"},
       1,
       "nothing was heard in the trials selected"},
      {"no trial then", {"--a", a, "--b", "antenna=spider,to=2026-02-01"}, 1, ""},
      {"not a selection", {"--a", a, "--b", "spider"}, 2, "\"spider\" is not a pair key=value"},
      {"a plan of no days",
       {"--a", a, "--b", b, "--plan", "0"},
       2,
       "a plan is for more than 0 and at most 365 days"},
      {"a plan with itself",
       {"--a", a, "--b", a, "--plan", "6"},
       2,
       "both sides are antenna collinear"},
      {"confidence",
       {"--a", a, "--b", b, "--confidence", "2"},
       2,
       "a confidence is from 0.5 to below 1"},
  };
  for (const Refused& one : all) {
    const Ran ran = compare(one.words);
    EXPECT_EQ(ran.code, one.code) << one.name << ": " << ran.err << ran.out;
    EXPECT_EQ(ran.out, "") << one.name;
    EXPECT_THAT(ran.err, HasSubstr(one.line)) << one.name;
    EXPECT_THAT(ran.err, testing::StartsWith("roundel: ")) << one.name;
    EXPECT_EQ(std::count(ran.err.begin(), ran.err.end(), '\n'), 1) << one.name << ran.err;
  }
}

}  // namespace
}  // namespace roundel
