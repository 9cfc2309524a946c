// roundel reach, as a person runs it.
#include <gmock/gmock.h>

#include <GeographicLib/Geodesic.hpp>
#include <nlohmann/json.hpp>

#include "tests/present/well_formed.h"
#include "tests/program/run_program.h"
#include "tests/schema/store_fixture.h"

namespace roundel {
namespace {

using schema::must;
using testing::HasSubstr;
using testing::StartsWith;

constexpr std::int64_t start_s = 1'772'323'200;  // 2026-03-01T00:00:00Z

class ReachProgram : public testing::Test {
 protected:
  Ran reach(std::vector<std::string> words) {
    words.insert(words.begin(), {"reach", file_.string()});
    return run_program(ROUNDEL_BINARY_DIR "/analysis/program/roundel", words, folder_ / ".");
  }
  schema::Store make(bool with_site = true) {
    auto store = must(schema::Store::open(file_, schema::Store::Access::record));
    if (with_site) must(store.set_site({"Hill house", 52.1, 19.4, 110, 12, 110}));
    return store;
  }
  /// One flight out along 38 degrees to 400 km at 38 000 ft, a cell a window.
  void record(schema::Store& store, int n_cells) {
    schema::Trial trial;
    trial.feed = "roof";
    trial.antenna = "collinear";
    trial.receiver = "rx1";
    trial.mount = "gable";
    trial.start_s = start_s;
    trial = must(store.start_trial(trial));
    schema::Batch batch;
    batch.feed = must(store.feed_id("roof"));
    const std::int64_t first = start_s / schema::window_s;
    batch.flights.push_back({1, trial.id, 0x4b1617, first, first + n_cells - 1});
    for (int i = 0; i < n_cells; ++i) {
      schema::Cell cell;
      cell.window = first + i;
      cell.flight = 1;
      cell.heard = n_cells == 1 ? 1 : 12;
      cell.expected = schema::chances_per_window;
      cell.altitude_ft = 38'000;
      GeographicLib::Geodesic::WGS84().Direct(52.1, 19.4, 38, 400'000 - 2'500 * (n_cells - 1 - i),
                                              cell.latitude_deg, cell.longitude_deg);
      batch.cells.push_back(cell);
    }
    must(store.commit(batch));
  }
  schema::Folder folder_;
  std::filesystem::path file_ = folder_ / "roundel.db";
};

// 38 000 ft over a surface at 110 m is 11 472 m. The ray horizon of 15 m and 11 582 m is 451.1 km
// (p528_max_line_of_sight.csv), by terminal 16.2 and 434.8 km (p528_terminal_geometry.csv); 12 m
// and 110 m less take 1.7 and 2.1 km off: 447 to 448 km, of which 400 km is 89 %.
TEST_F(ReachProgram, TellsTheAnswerFirstThenTheTable) {
  {
    auto store = make();
    record(store, 41);
  }
  const Ran ran = reach({});
  EXPECT_EQ(ran.code, 0) << ran.err;
  EXPECT_THAT(ran.out,
              StartsWith("Farthest aircraft 400 km (216 NM) at 038 degrees, 89% of the "
                         "radio horizon (ray, ITU-R P.453) at its height; no sector with traffic "
                         "reaches less than half the horizon; 71 sectors had no traffic to "
                         "judge by: 040 to 035 degrees.\n\nbearing  "));
  EXPECT_THAT(ran.out, testing::ContainsRegex(
                           "\n035-040 +400 +11 582 +44[78] +89% +3[0-9][0-9] link +- +- +- +400 "));
  EXPECT_THAT(reach({"--units", "aviation"}).out,
              testing::ContainsRegex("\n035-040 +216 +38 000 +242 +89% "));
}

TEST_F(ReachProgram, WritesJsonAndThePicture) {
  {
    auto store = make();
    record(store, 41);
  }
  const auto svg_file = folder_ / "reach.svg";
  const Ran ran =
      reach({"--json", "--svg", svg_file.string(), "--sector-deg", "10", "--antenna", "collinear"});
  EXPECT_EQ(ran.code, 0) << ran.err;
  const auto json = nlohmann::json::parse(ran.out);
  ASSERT_EQ(json["sectors"].size(), 36u);
  // Positions are stored to 1e-4 degree: 11 m.
  EXPECT_NEAR(json["sectors"][3]["reach_km"].get<double>(), 400, 0.012);
  EXPECT_EQ(json["sectors"][3]["address"], "4b1617");
  std::ifstream in(svg_file);
  const std::string svg{std::istreambuf_iterator<char>(in), {}};
  EXPECT_TRUE(present::is_well_formed(svg));
  EXPECT_THAT(svg, HasSubstr("Reach: Hill house, collinear"));
}

TEST_F(ReachProgram, SaysInASentenceWhatIsMissing) {
  make();
  EXPECT_EQ(reach({}).out, "Nothing has been recorded here yet.\n");
  {
    auto store = make();
    record(store, 1);
  }
  EXPECT_EQ(reach({}).out,
            "1 report was heard, but no three of one aircraft within a minute: too little for a "
            "reach.\n");
  EXPECT_EQ(reach({}).code, 0);
}

TEST_F(ReachProgram, RefusesInOneLine) {
  make(false);
  const struct {
    std::vector<std::string> words;
    int code;
    std::string err;
  } rows[] = {
      {{},
       1,
       "roundel: the database knows no site, so nothing has a bearing; start roundeld run once "
       "with "
       "a [site] in its configuration\n"},
      {{"--sector-deg", "7"},
       2,
       "roundel: --sector-deg: sectors of 7 degrees; choose a width from 1 to 90 that divides 360, "
       "like 5 or 10\n"},
      {{"--units", "miles"},
       2,
       "roundel: --units: unknown units \"miles\"; choose metric or aviation\n"},
  };
  for (const auto& row : rows) {
    const Ran ran = reach(row.words);
    EXPECT_EQ(ran.code, row.code);
    EXPECT_EQ(ran.err, row.err);
    EXPECT_EQ(ran.out, "");
  }
  make();
  EXPECT_EQ(reach({"--svg", "/nowhere/reach.svg"}).err,
            "roundel: /nowhere/reach.svg: cannot be written: No such file or directory; choose "
            "another place\n");
}

}  // namespace
}  // namespace roundel
