// roundel expect, as a person runs it.
#include <gmock/gmock.h>

#include <fstream>
#include <nlohmann/json.hpp>

#include "tests/present/well_formed.h"
#include "tests/program/run_program.h"
#include "tests/schema/store_fixture.h"

namespace roundel {
namespace {

using nlohmann::json;
using schema::must;
using testing::HasSubstr;

class ExpectProgram : public testing::Test {
 protected:
  ExpectProgram() {
    auto store = must(schema::Store::open(file_, schema::Store::Access::record));
    must(store.set_site({"Hill house", 52.1, 19.4, 110, 12, 110}));
  }
  Ran expect(std::vector<std::string> words) {
    words.insert(words.begin(), {"expect", file_.string()});
    return run_program(ROUNDEL_BINARY_DIR "/analysis/program/roundel", words, folder_ / ".");
  }
  json answer(std::vector<std::string> words) {
    words.emplace_back("--json");
    const Ran ran = expect(std::move(words));
    EXPECT_EQ(ran.code, 0) << ran.err;
    return json::parse(ran.out);
  }
  std::string write(const char* name, const std::string& text) {
    std::ofstream(folder_ / name, std::ios::binary) << text;
    return (folder_ / name).string();
  }
  /// One line on standard error, and nothing else.
  static void is_refusal(const Ran& ran, const std::string& part) {
    EXPECT_NE(ran.code, 0);
    EXPECT_EQ(ran.out, "");
    EXPECT_THAT(ran.err, HasSubstr(part));
    EXPECT_EQ(std::ranges::count(ran.err, '\n'), 1) << ran.err;
  }
  schema::Folder folder_;
  std::filesystem::path file_ = folder_ / "roundel.db";
};

// 38 000 ft over a surface at 110 m is 11 472 m. The ray horizon of 15 m and 11 582 m is 451.1 km
// (p528_max_line_of_sight.csv), by terminal 16.2 and 434.8 km (p528_terminal_geometry.csv); 12 m
// and 110 m less take 1.7 and 2.1 km off: 447 to 448 km.
TEST_F(ExpectProgram, HorizonIsThatOfThePublishedTable) {
  const json out = answer({"--altitude-ft", "38000"});
  const json& at = out["altitudes"][0];
  EXPECT_NEAR(at["horizon_km"], 447.5, 1.5);
  EXPECT_EQ(at["horizon_km"], at["horizon_ray_km"]);
  EXPECT_LT(at["horizon_geometric_km"], at["horizon_ray_km"]);
  EXPECT_EQ(out["antenna_m"], 12);
  EXPECT_EQ(out["bearings"].size(), 72);
}

// Common practice, no source: a plain dipole with neither amplifier nor filter gives some 200 NM
// (370 km) on aircraft at cruising height. Held to 10 %.
TEST_F(ExpectProgram, APlainDipoleComesOutNearTwoHundredNauticalMiles) {
  const json at = answer({"--altitude-ft", "38000"})["altitudes"][0];
  EXPECT_NEAR(at["expected_km"], 370, 37);
  EXPECT_EQ(at["limited_by"], "link");
}

TEST_F(ExpectProgram, TextNamesTheLimitAndWhatWouldHelpAndTheCautions) {
  const Ran ran = expect({"--altitude-ft", "1000,38000", "--units", "aviation"});
  EXPECT_EQ(ran.code, 0) << ran.err;
  EXPECT_THAT(ran.out, HasSubstr("horizon NM"));
  EXPECT_THAT(ran.out, testing::ContainsRegex("1 000 ft .* horizon "));
  EXPECT_THAT(ran.out, testing::ContainsRegex("38 000 ft .* link "));
  EXPECT_THAT(ran.out, HasSubstr("what would help, NM"));
  EXPECT_THAT(ran.out, HasSubstr("overhead power lines"));
  EXPECT_THAT(ran.out, HasSubstr("lightning"));
}

TEST_F(ExpectProgram, AMaskCutsItsBearingsAndNoOther) {
  const auto mask = write("mask.csv",
                          "bearing_deg,elevation_deg\n0,0\n40,0\n80,0\n85,5\n120,5\n125,0\n"
                          "165,0\n210,0\n255,0\n300,0\n330,0\n");
  const json out = answer({"--altitude-ft", "38000", "--mask", mask});
  for (const auto& bearing : out["bearings"]) {
    const double at = bearing["bearing_deg"];
    const bool is_walled = at > 85 && at < 120;
    EXPECT_EQ(bearing["limited_by_altitude"][0] == "mask", at > 80 && at < 125) << at;
    // At 5 degrees 11.5 km of height are some 11.5 / tan 5 = 131 km away, less the Earth's fall.
    if (is_walled) {
      EXPECT_NEAR(bearing["expected_km_by_altitude"][0], 122, 5) << at;
    }
  }
}

TEST_F(ExpectProgram, PictureIsWellFormed) {
  const auto picture = folder_ / "expect.svg";
  EXPECT_EQ(expect({"--svg", picture.string()}).code, 0);
  EXPECT_TRUE(present::is_well_formed(schema::bytes_of(picture)));
}

TEST_F(ExpectProgram, WhatIsWrongIsOneLine) {
  is_refusal(expect({"--altitude-ft", "99000"}), "altitude 99000 ft");
  is_refusal(expect({"--refraction", "magic"}), "magic");
  is_refusal(expect({"--pressure-hpa", "30"}), "30 hPa");
  is_refusal(expect({"--mask", (folder_ / "none.csv").string()}), "none.csv");
  is_refusal(expect({"--mask", write("gap.csv", "0,1\n90,1\n")}), "gap.csv");
  is_refusal(expect({"--mask", write("up.csv", "0,1\n30,95\n")}), "up.csv:2");
  is_refusal(expect({"--terrain", (folder_ / "none").string()}), "none");
  write("N52E019.hgt", "short");
  is_refusal(expect({"--terrain", (folder_ / ".").string()}), "N52E019.hgt");
  is_refusal(expect({"--survey", (folder_ / "mask.csv").string()}), "nothing has been heard");
  is_refusal(expect({"--sector-deg", "7"}), "7 degrees");
  const Ran no_site =
      run_program(ROUNDEL_BINARY_DIR "/analysis/program/roundel", {"expect"}, folder_ / ".");
  is_refusal(no_site, "expect needs a site");
}

}  // namespace
}  // namespace roundel
