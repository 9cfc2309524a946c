// roundel export, as a person runs it, and what outside readers make of it.
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

constexpr std::int64_t midnight_s = 1'772'409'600;  // 2026-03-02T00:00:00Z

class ExportProgram : public testing::Test {
 protected:
  /// One flight out along 38 degrees to 400 km at 38 000 ft: 20 cells on either side of midnight.
  void SetUp() override {
    auto store = must(schema::Store::open(file_, schema::Store::Access::record));
    must(store.set_site({"Hill house", 52.1, 19.4, 110, 12, 110}));
    schema::Trial trial;
    trial.feed = "roof";
    trial.antenna = "collinear \"long\"";
    trial.receiver = "rx1";
    trial.mount = "gable";
    trial.start_s = midnight_s - 3600;
    trial = must(store.start_trial(trial));
    schema::Batch batch;
    batch.feed = must(store.feed_id("roof"));
    const std::int64_t first = midnight_s / schema::window_s - 20;
    batch.flights.push_back({1, trial.id, 0x4b1617, first, first + 39});
    for (int i = 0; i < 40; ++i) {
      schema::Cell cell;
      cell.window = first + i;
      cell.flight = 1;
      cell.heard = 12;
      cell.expected = schema::chances_per_window;
      cell.altitude_ft = 38'000;
      GeographicLib::Geodesic::WGS84().Direct(52.1, 19.4, 38, 400'000 - 2'500 * (39 - i),
                                              cell.latitude_deg, cell.longitude_deg);
      batch.cells.push_back(cell);
    }
    batch.hour_s = midnight_s - 3600;
    batch.tally = {{"received", 481}, {"stored", 480}, {"stale", 1}};
    must(store.commit(batch));
  }
  Ran roundel(std::vector<std::string> words) {
    return run_program(ROUNDEL_BINARY_DIR "/analysis/program/roundel", words, folder_ / ".");
  }
  Ran shell(const std::string& line) { return run_program("sh", {"-c", line}, folder_ / "."); }
  schema::Folder folder_;
  std::filesystem::path file_ = folder_ / "roundel.db";
};

TEST_F(ExportProgram, WritesCellsByDayForOtherReaders) {
  const auto cells = folder_ / "cells";
  const Ran ran = roundel({"export", file_.string(), "--cells", "-o", cells.string()});
  ASSERT_EQ(ran.code, 0) << ran.err;
  EXPECT_THAT(ran.out, HasSubstr("40 cells under"));
  for (const char* day : {"2026-03-01", "2026-03-02"})
    EXPECT_THAT(
        shell("ogrinfo -so -al /vsigzip/" + cells.string() + "/day=" + day + "/cells.csv.gz").out,
        HasSubstr("Feature Count: 20\n"))
        << day;
  // Python's csv module, by the columns that the metadata names; 38 degrees and 400 km are what
  // the geodesic library was asked for, to the store's 1e-4 degree.
  const Ran read = shell(R"(python3 - ')" + cells.string() + R"(' <<'EOF'
import csv, gzip, json, sys
meta = json.load(open(sys.argv[1] + '/csv-metadata.json'))
names = [c['name'] for c in meta['tableSchema']['columns']]
rows = list(csv.DictReader(gzip.open(sys.argv[1] + '/day=2026-03-02/cells.csv.gz', 'rt', newline='')))
assert list(rows[0]) == names, (list(rows[0]), names)
last = rows[-1]
kinds = {'integer': int, 'number': float, 'string': str, 'dateTime': str}
for column in meta['tableSchema']['columns']:
    if last[column['name']] or column['required']: kinds[column['datatype']](last[column['name']])
print(last['time'], last['antenna'], last['address'], last['signal_dbfs'] == '')
print(round(float(last['range_km'])), round(float(last['bearing_deg'])), last['heard'])
EOF
)");
  EXPECT_EQ(read.err, "");
  EXPECT_EQ(read.out, "2026-03-02T00:03:10Z collinear \"long\" 4b1617 True\n400 38 12\n");
}

TEST_F(ExportProgram, StreamsCellsToStandardOutput) {
  const Ran ran = roundel({"export", file_.string(), "--cells", "--to", "2026-03-02"});
  EXPECT_EQ(ran.code, 0);
  EXPECT_EQ(std::count(ran.out.begin(), ran.out.end(), '\n'), 21);
  EXPECT_THAT(ran.out, testing::StartsWith("time,time_s,trial,feed,antenna,"));
}

TEST_F(ExportProgram, DoesNotMixDaysOfTwoExports) {
  const auto cells = folder_ / "cells";
  ASSERT_EQ(roundel({"export", file_.string(), "--cells", "-o", cells.string()}).code, 0);
  const Ran again = roundel({"export", file_.string(), "--cells", "-o", cells.string()});
  EXPECT_EQ(again.code, 2);
  EXPECT_EQ(again.err, "roundel: " + cells.string() +
                           ": the folder is not empty; name a new one, so that no older day stands "
                           "among the new ones\n");
}

// What the views say is held against the figures the store was made of, by SQLite's own program.
TEST_F(ExportProgram, PrintsViewsThatSqliteRunsOverAnAttachedDatabase) {
  const auto views = folder_ / "views.sql";
  ASSERT_EQ(roundel({"export", "--as", "views", "-o", views.string()}).code, 0);
  const auto ask = [&](const std::string& sql) {
    const Ran ran = shell("sqlite3 -batch -cmd \"ATTACH 'file:" + file_.string() +
                          "?mode=ro' AS roundel\" -cmd '.read " + views.string() + "' :memory: \"" +
                          sql + "\"");
    EXPECT_EQ(ran.err, "") << sql;
    return ran.out;
  };
  EXPECT_EQ(ask("SELECT trial, feed, mount, stop_s IS NULL FROM trial_names"), "1|roof|gable|1\n");
  EXPECT_EQ(ask("SELECT count(*), min(time_s), sum(heard), sum(expected), max(altitude_ft) "
                "FROM cell_values"),
            "40|1772409400|480|800|38000\n");
  // The sphere differs from the ellipsoid by 0.6 % at most.
  EXPECT_EQ(ask("SELECT abs(max(range_km) - 400) < 2.4, abs(max(bearing_deg) - 38) < 0.3 "
                "FROM cell_places"),
            "1|1\n");
  EXPECT_EQ(ask("SELECT hour_s, cells, flights, heard FROM hours ORDER BY hour_s"),
            "1772406000|20|1|240\n1772409600|20|1|240\n");
  EXPECT_EQ(ask("SELECT kind, count FROM reports ORDER BY kind"),
            "received|481\nstale|1\nstored|480\n");
  EXPECT_EQ(ask("SELECT count(*) FROM recorded"), "0\n");
  EXPECT_EQ(ask("SELECT flight, stop_s - start_s FROM flight_times"), "1|400\n");
}

TEST_F(ExportProgram, WritesEachFormat) {
  for (const char* format : {"csv", "geojson", "kml", "svg"}) {
    SCOPED_TRACE(format);
    const Ran ran = roundel({"export", file_.string(), "--as", format});
    EXPECT_EQ(ran.code, 0) << ran.err;
    EXPECT_EQ(ran.err, "");
    if (std::string(format) == "geojson") {
      EXPECT_EQ(nlohmann::json::parse(ran.out)["type"], "FeatureCollection");
    } else if (std::string(format) != "csv") {
      EXPECT_TRUE(present::is_well_formed(ran.out));
    }
  }
  for (const char* picture : {"gain", "cut"}) {
    const Ran ran = roundel(
        {"export", file_.string(), "--as", "svg", "--picture", picture, "--bearing-deg", "38"});
    EXPECT_EQ(ran.code, 0) << ran.err;
    EXPECT_TRUE(present::is_well_formed(ran.out));
  }
}

TEST_F(ExportProgram, WritesTheReport) {
  const auto page = (folder_ / "report.html").string();
  const Ran ran = roundel({"report", file_.string(), "-o", page, "--question", "Good?", "--units",
                           "aviation", "--trial", "1"});
  ASSERT_EQ(ran.code, 0) << ran.err;
  EXPECT_EQ(ran.out, page +
                         ": read it in any browser; to hand it over on paper or as PDF, print it "
                         "there\n");
  std::ifstream in(page);
  const std::string html(std::istreambuf_iterator<char>(in), {});
  EXPECT_TRUE(present::is_well_formed(html));
  EXPECT_THAT(html, HasSubstr("Antenna report: Hill house, collinear"));
  EXPECT_THAT(html, HasSubstr("<h2>Good?</h2>"));
  EXPECT_THAT(html, HasSubstr("481 reports received"));
  EXPECT_THAT(html, HasSubstr("stale 1"));
  EXPECT_THAT(html, HasSubstr("--trial 1 --units aviation</code>"));
}

TEST_F(ExportProgram, TellsWhereTheReportCannotBeWritten) {
  const Ran ran = roundel({"report", file_.string(), "-o", "/nowhere/report.html"});
  EXPECT_EQ(ran.code, 1);
  EXPECT_EQ(ran.err,
            "roundel: /nowhere/report.html: cannot be written: No such file or directory; choose "
            "another place\n");
}

TEST_F(ExportProgram, SaysWhatItNeeds) {
  const struct {
    const char* name;
    std::vector<std::string> words;
    int code;
    std::string err;
  } rows[] = {
      {"nothing to write",
       {"export", file_.string()},
       2,
       "roundel: --as: what to write was not said; choose csv, geojson, kml, svg or views, or "
       "--cells\n"},
      {"no database",
       {"export", "--as", "csv"},
       2,
       "roundel: DB: no database was named; see roundel export --help\n"},
      {"cells as a map",
       {"export", file_.string(), "--cells", "--as", "kml"},
       2,
       "roundel: --as: cells are written as csv, not kml; leave --as or --cells out\n"},
  };
  for (const auto& row : rows) {
    const Ran ran = roundel(row.words);
    EXPECT_EQ(ran.code, row.code) << row.name;
    EXPECT_EQ(ran.err, row.err) << row.name;
  }
}

}  // namespace
}  // namespace roundel
