#include "roundel/config/config.h"

#include <fmt/format.h>
#include <gmock/gmock.h>

#include <fstream>

#include "analysis/config/keys.h"
#include "tests/config/sample.h"

namespace roundel::config {
namespace {

using testing::ElementsAre;

Config read(std::string_view text) {
  auto config = parse(text, "/etc/roundel/roundel.toml");
  EXPECT_TRUE(config) << config.error().line();
  return config ? *config : Config{};
}

TEST(Config, ReadsEverySection) {
  const Config config = read(sample);
  EXPECT_EQ(config.site.name, "Hill house");
  EXPECT_EQ(config.site.latitude_deg, 52.1);
  EXPECT_EQ(config.site.longitude_deg, 19.4);
  EXPECT_EQ(config.site.ground_m, 110);
  EXPECT_EQ(config.site.antenna_m, 12);
  EXPECT_THAT(config.antennas, ElementsAre("collinear"));
  EXPECT_THAT(config.receivers, ElementsAre("rx1"));
  EXPECT_THAT(config.mounts, ElementsAre("gable"));
  ASSERT_EQ(config.feeds.size(), 1u);
  const Feed& feed = config.feeds[0];
  EXPECT_EQ(feed.name, "roof");
  EXPECT_EQ(feed.connect, (Endpoint{"127.0.0.1", 27411}));
  EXPECT_FALSE(feed.listen);
  EXPECT_EQ(feed.layout, config.layouts.at(0));
  EXPECT_EQ(feed.antenna, "collinear");
  EXPECT_EQ(feed.receiver, "rx1");
  EXPECT_EQ(feed.mount, "gable");
  EXPECT_EQ(feed.line, 18);
  EXPECT_EQ(config.web, (Endpoint{"127.0.0.1", 27410}));
}

TEST(Config, TakesRetentionInDaysAndMegabytes) {
  EXPECT_EQ(read(sample).keep, schema::Retention()) << "everything stays unless asked for";
  const Config config =
      read(changed("[store]", "[store]\nkeep_cells_days = 1.5\nkeep_cells_mb = 200"));
  EXPECT_EQ(config.keep.hours, 36);
  EXPECT_EQ(config.keep.bytes, 200'000'000);
}

// A reload said that the configuration had been read again, and ignored most of what had changed.
TEST(Config, NamesEachSettingThatHasChanged) {
  const auto changes = [](std::string_view before, std::string_view after) {
    return changed_settings(read(before), read(after));
  };
  EXPECT_THAT(changes(sample, sample), ElementsAre());
  for (const Section& section : sections()) {
    if (section.shape != Shape::once) continue;
    for (const Key& key : keys()) {
      if (key.section != section.name) continue;
      EXPECT_TRUE(read(sample).settings.contains(fmt::format("[{}] {}", key.section, key.key)));
    }
  }
  EXPECT_THAT(changes(sample, changed("latitude = 52.1", "latitude = 52.2")),
              ElementsAre("[site] latitude"));
  EXPECT_THAT(changes(sample, changed("[store]", "[store]\nwrite_s = 5")), ElementsAre())
      << "what is the default";
  EXPECT_THAT(changes(changed("[store]", "[store]\nwrite_s = 9"), sample),
              ElementsAre("[store] write_s"));
  EXPECT_THAT(changes(sample, changed("[web]", "[link]\nelements = 4\n[web]\nnames = [\"pi\"]")),
              ElementsAre("[link] elements", "[web] names"));
  EXPECT_THAT(changes(sample, changed("[web]", "[web]\nenabled = false")),
              ElementsAre("[web] enabled"));
}

TEST(Config, DefaultsOfTheKeyTableAreThoseOfTheStruct) {
  const Config config = read(sample);
  const Config plain;
  const Feed plain_feed;
  EXPECT_EQ(config.write_s, plain.write_s);
  EXPECT_EQ(config.queue_reports, plain.queue_reports);
  EXPECT_EQ(config.web, plain.web);
  EXPECT_EQ(config.feeds[0].rotation_deg, plain_feed.rotation_deg);
  EXPECT_EQ(config.feeds[0].clock_is_arrival, plain_feed.clock_is_arrival);
  EXPECT_EQ(config.feeds[0].stall_s, plain_feed.stall_s);
  EXPECT_EQ(config.feeds[0].max_connections, plain_feed.max_connections);
  EXPECT_EQ(config.layouts[0].delimiter, Layout{}.delimiter);
  EXPECT_EQ(config.layouts[0].header, Layout{}.header);
  EXPECT_EQ(config.layouts[0].between, Layout{}.between);
  EXPECT_EQ(config.layouts[0].line_bytes, Layout{}.line_bytes);
  EXPECT_EQ(config.layouts[0].decimal_comma, Layout{}.decimal_comma);
  EXPECT_EQ(config.feeds[0].every_s, plain_feed.every_s);
  EXPECT_EQ(config.layouts[0].carry_s, Layout{}.carry_s);
  EXPECT_EQ(config.layouts[0].time_unit, Layout{}.time_unit);
}

TEST(Config, TheSiteAloneIsEnough) {
  const Config config =
      read("[site]\nlatitude = 0\nlongitude = -180\nground_m = -5\nantenna_m = 3.5\n");
  EXPECT_EQ(config.site.name, "site");
  EXPECT_EQ(config.site.surface_m, -5);
  EXPECT_TRUE(config.feeds.empty());
  EXPECT_EQ(config.store, "/etc/roundel/roundel.db");
}

TEST(Config, SurfaceIsTheGroundUnlessGiven) {
  EXPECT_EQ(read(sample).site.surface_m, 110);
  EXPECT_EQ(read(changed("antenna_m", "surface_m = 80\nantenna_m")).site.surface_m, 80);
}

TEST(Config, RelativePathsAreTakenFromTheFilesFolder) {
  EXPECT_EQ(read(sample).store, "/etc/roundel/roundel.db");
  EXPECT_EQ(read(changed("roundel.db", "/var/lib/r.db")).store, "/var/lib/r.db");
}

TEST(Config, AFullTurnOfTheAntennaIsNone) {
  EXPECT_EQ(read(changed("connect", "rotation_deg = 360\nconnect")).feeds[0].rotation_deg, 0);
  EXPECT_EQ(read(changed("connect", "rotation_deg = 90.5\nconnect")).feeds[0].rotation_deg, 90.5);
}

TEST(Config, TheWebTakesNamesAndAToken) {
  const Config plain = read(sample);
  EXPECT_TRUE(plain.web_names.empty());
  EXPECT_EQ(plain.web_token, "");
  const Config set = read(changed(
      "[web]", "[web]\nnames = [\"roof.example\", \"roof\"]\ntoken = \"0123456789abcdef\""));
  EXPECT_THAT(set.web_names, ElementsAre("roof.example", "roof"));
  EXPECT_EQ(set.web_token, "0123456789abcdef");
}

TEST(Config, TheWebCanBeTurnedOff) {
  EXPECT_FALSE(read(changed("[web]", "[web]\nenabled = false")).web);
}

TEST(Config, FeedsMayListenOrNeither) {
  const Config listening = read(changed("connect = \"127.0.0.1:27411\"", "listen = \":0\""));
  EXPECT_EQ(listening.feeds[0].listen, (Endpoint{"127.0.0.1", 0}));
  EXPECT_FALSE(listening.feeds[0].connect);
  const Config load_only = read(changed("connect = \"127.0.0.1:27411\"\n", ""));
  EXPECT_FALSE(load_only.feeds[0].listen || load_only.feeds[0].connect);
}

TEST(Config, FeedsAreTheSameWhereverTheyStand) {
  const Feed here = read(sample).feeds[0];
  EXPECT_EQ(here, read(changed("[[feed]]", "\n\n[[feed]]")).feeds[0]);
  EXPECT_FALSE(here == read(changed("longitude = 8", "longitude = 9")).feeds[0])
      << "its layout is part of a feed";
}

TEST(Config, FilesAreReadFromDisk) {
  const std::filesystem::path file =
      std::filesystem::path(testing::TempDir()) / "roundel_config_test.toml";
  std::ofstream(file) << sample;
  const auto config = load(file);
  ASSERT_TRUE(config) << config.error().line();
  EXPECT_EQ(config->store, file.parent_path() / "roundel.db");
  std::filesystem::remove(file);
}

TEST(Config, AFileThatCannotBeReadIsBadUsage) {
  const auto missing = load("/nonexistent/roundel.toml");
  ASSERT_FALSE(missing);
  EXPECT_EQ(missing.error().line(),
            "/nonexistent/roundel.toml: there is no such file; give the configuration with "
            "--config FILE");
  EXPECT_EQ(exit_code(missing.error().code), 2);
  const auto folder = load("/");
  ASSERT_FALSE(folder);
  EXPECT_EQ(folder.error().line(), "/: is a folder, not a configuration");
  const auto endless = load("/dev/zero");
  ASSERT_FALSE(endless);
  EXPECT_EQ(endless.error().line(), "/dev/zero: is larger than 1 MiB, not a configuration");
}

TEST(Reference, NamesEveryKeyWithTypeDefaultAndMeaning) {
  std::size_t n_keys = 0;
  for (const ReferenceRow& row : reference()) {
    EXPECT_FALSE(row.section.empty());
    if (row.key.empty()) {
      EXPECT_FALSE(row.meaning.empty()) << row.section;
      continue;
    }
    ++n_keys;
    EXPECT_FALSE(row.type.empty()) << row.key;
    EXPECT_FALSE(row.default_value.empty()) << row.key;
    EXPECT_TRUE(!row.meaning.empty() || row.key == "name") << row.section << row.key;
  }
  EXPECT_EQ(n_keys, keys().size());
}

TEST(Reference, ShowsRangesUnitsAndChoices) {
  bool has_latitude = false, has_kind = false;
  for (const ReferenceRow& row : reference()) {
    if (row.section == "[site]" && row.key == "latitude") {
      has_latitude = true;
      EXPECT_EQ(row.type, "a number");
      EXPECT_EQ(row.unit, "deg");
      EXPECT_EQ(row.range, "-90 to 90");
      EXPECT_EQ(row.default_value, "required");
    }
    if (row.section == "[layout.NAME]" && row.key == "kind") {
      has_kind = true;
      EXPECT_EQ(row.type, "\"ndjson\", \"columns\" or \"pairs\"");
    }
  }
  EXPECT_TRUE(has_latitude && has_kind);
}

}  // namespace
}  // namespace roundel::config
