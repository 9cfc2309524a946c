// roundel simulate, as a person runs it.
#include <gmock/gmock.h>

#include <algorithm>
#include <nlohmann/json.hpp>

#include "tests/program/run_program.h"
#include "tests/schema/store_fixture.h"

namespace roundel {
namespace {

using testing::EndsWith;
using testing::HasSubstr;
using testing::StartsWith;

constexpr const char* two_feeds = R"(
hours = 0.05
[[trial]]
feed = "roof-a"
[[trial]]
feed = "roof-b"
)";

class SimulateProgram : public testing::Test {
 protected:
  Ran simulate(const std::string& scenario, std::vector<std::string> words = {}) {
    std::ofstream(folder_ / "s.toml") << scenario;
    words.insert(words.begin(), {"simulate", (folder_ / "s.toml").string()});
    return run_program(ROUNDEL_BINARY_DIR "/analysis/program/roundel", words, folder_ / ".");
  }
  std::string read(const std::filesystem::path& name) {
    std::ifstream in(folder_ / name.c_str());
    return {std::istreambuf_iterator<char>(in), {}};
  }
  static std::int64_t n_lines(const std::string& text) {
    return std::count(text.begin(), text.end(), '\n');
  }
  schema::Folder folder_;
};

TEST_F(SimulateProgram, PrintsLinesAndWritesTheTruthBeside) {
  const Ran ran =
      simulate("hours = 0.05\n", {"--seed", "3", "--truth", (folder_ / "truth.json").string()});
  EXPECT_EQ(ran.code, 0) << ran.err;
  EXPECT_THAT(ran.out, StartsWith("{\"time\":1772323200."));
  const auto truth = nlohmann::json::parse(read("truth.json"));
  EXPECT_EQ(truth["seed"], 3);
  EXPECT_EQ(truth["hours"], 0.05);
  ASSERT_EQ(truth["feeds"].size(), 1U);
  EXPECT_EQ(truth["feeds"][0]["lines"], n_lines(ran.out));
  EXPECT_EQ(truth["trials"][0]["heard"], n_lines(ran.out));
  EXPECT_EQ(truth["trials"][0]["pattern_db"].size(), 360U);
  EXPECT_FALSE(truth.contains("flights"));
}

TEST_F(SimulateProgram, SeedChangesTheLinesAndTheSameSeedDoesNot) {
  const std::string first = simulate("hours = 0.05\n", {"--seed", "3"}).out;
  EXPECT_EQ(simulate("hours = 0.05\n", {"--seed", "3"}).out, first);
  EXPECT_NE(simulate("hours = 0.05\n", {"--seed", "4"}).out, first);
}

TEST_F(SimulateProgram, FlightsAreNamedWhenAskedFor) {
  const Ran ran =
      simulate("", {"--hours", "0.05", "--flights", "--truth", (folder_ / "truth.json").string()});
  EXPECT_EQ(ran.code, 0) << ran.err;
  const auto truth = nlohmann::json::parse(read("truth.json"));
  ASSERT_GT(truth["flights"].size(), 5U);
  EXPECT_EQ(truth["flights"].size(), truth["n_flights"]);
  EXPECT_EQ(truth["flights"][0]["address"].get<std::string>().size(), 6U);
}

TEST_F(SimulateProgram, SeveralFeedsGoToAFolder) {
  const Ran ran = simulate(two_feeds, {"--out-dir", (folder_ / "feeds").string()});
  EXPECT_EQ(ran.code, 0) << ran.err;
  EXPECT_EQ(ran.out, "");
  EXPECT_GT(n_lines(read("feeds/roof-a.ndjson")), 100);
  EXPECT_GT(n_lines(read("feeds/roof-b.ndjson")), 100);
}

TEST_F(SimulateProgram, OneOfSeveralFeedsMayBeChosen) {
  simulate(two_feeds, {"--out-dir", (folder_ / "feeds").string()});
  const Ran ran = simulate(two_feeds, {"--feed", "roof-b"});
  EXPECT_EQ(ran.code, 0);
  EXPECT_EQ(ran.out, read("feeds/roof-b.ndjson"));
}

TEST_F(SimulateProgram, SeveralFeedsToOneOutputAreRefused) {
  const Ran ran = simulate(two_feeds);
  EXPECT_EQ(ran.code, 2);
  EXPECT_EQ(ran.err,
            "roundel: roundel simulate: the scenario has several feeds: roof-a, roof-b; choose one "
            "with --feed NAME, or use --out-dir DIR for all\n");
}

TEST_F(SimulateProgram, UnknownFeedIsRefusedWithThoseThereAre) {
  const Ran ran = simulate(two_feeds, {"--feed", "attic"});
  EXPECT_EQ(ran.code, 2);
  EXPECT_EQ(ran.err, "roundel: --feed: no feed is named 'attic'; there are: roof-a, roof-b\n");
}

TEST_F(SimulateProgram, MistakesInTheScenarioCarryTheirLine) {
  const Ran ran = simulate("hours = 1\nsed = 3\n");
  EXPECT_EQ(ran.code, 2);
  EXPECT_EQ(ran.out, "");
  EXPECT_THAT(ran.err, EndsWith("s.toml:2: there is no key \"sed\"; did you mean \"seed\"?\n"));
}

TEST_F(SimulateProgram, MissingScenarioEndsWithOne) {
  const Ran ran = run_program(ROUNDEL_BINARY_DIR "/analysis/program/roundel",
                              {"simulate", "no/such.toml"}, folder_ / ".");
  EXPECT_EQ(ran.code, 1);
  EXPECT_EQ(ran.err, "roundel: no/such.toml: cannot read the scenario; check that it exists\n");
}

TEST_F(SimulateProgram, FullDiskIsReported) {
  const Ran ran = simulate("hours = 0.05\n", {"--truth", "/dev/full"});
  EXPECT_EQ(ran.code, 1);
  EXPECT_THAT(ran.err, HasSubstr("/dev/full: No space left on device"));
}

}  // namespace
}  // namespace roundel
