#include "daemon/feed/peek.h"

#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <nlohmann/json.hpp>

#include "tests/feed/traffic.h"

namespace roundel::feed {
namespace {

using testing::HasSubstr;
using testing::Not;

std::vector<std::string> mixed_lines() {
  return traffic_lines({}, [](const Fix& f) {
    if (f.n % 4 == 3) return fmt::format("{:.3f};S;;;;", f.time_s);
    return fmt::format("{:.3f};P;{:06x};{:.5f};{:.5f};{}", f.time_s, f.address, f.latitude_deg,
                       f.longitude_deg, f.altitude_ft);
  });
}

TEST(Peek, ShowsPlacesGuessesDoubtsAndTheTable) {
  const std::vector<std::string> lines = mixed_lines();
  const std::string text =
      peek(lines, guess_layout(lines, "roof"), {.source = "127.0.0.1:27411", .took_s = 5});
  EXPECT_THAT(text, HasSubstr("127.0.0.1:27411: 400 lines in 5.0 s\n"));
  EXPECT_THAT(text, HasSubstr("  place     lines  meaning      examples\n"
                              "  column 1   100%  time         1764000000.000  "
                              "1764000000.250  1764000000.500\n"
                              "  column 2   100%  keep         P  S\n"
                              "  column 3    75%  address      "));
  EXPECT_THAT(text, HasSubstr("  delimiter    semicolon  sure    it cuts lines into 6 columns, "
                              "among which is a position\n"));
  EXPECT_THAT(text, HasSubstr("To be checked by you:\n  - column 4 and column 5 could each be the "
                              "latitude"));
  EXPECT_THAT(text, HasSubstr("Read with this layout, 300 of 400 lines are positions, of 12 "
                              "aircraft; 100 not_position.\n"
                              "\n[layout.roof]\n"));
  EXPECT_THAT(text, testing::EndsWith("keep = [{ column = 2, equals = \"P\" }]\n"));
}

TEST(Peek, LayoutOnlyIsTheTableAlone) {
  const std::vector<std::string> lines = mixed_lines();
  EXPECT_EQ(peek(lines, guess_layout(lines, "roof"), {.source = "any", .layout_only = true}),
            "[layout.roof]\n"
            "kind = \"columns\"\n"
            "delimiter = \";\"\n"
            "address = 3\n"
            "latitude = 4\n"
            "longitude = 5\n"
            "time = 1\n"
            "altitude_ft = 6\n"
            "keep = [{ column = 2, equals = \"P\" }]\n");
}

TEST(Peek, NamesPlacesOfJsonByPointer) {
  const std::vector<std::string> lines = traffic_lines({}, [](const Fix& f) {
    return fmt::format(R"({{"a":{{"code":"{:06x}"}},"lat":{:.5f},"lon":{:.5f}}})", f.address,
                       f.latitude_deg, f.longitude_deg);
  });
  const std::string text = peek(lines, guess_layout(lines), {.source = "sample.json"});
  EXPECT_THAT(text, HasSubstr("  /a/code   100%  address    "));
  EXPECT_THAT(text, HasSubstr("sample.json: 400 lines\n"));
}

TEST(Peek, WithoutALayoutSaysSo) {
  const std::vector<std::string> lines{"the quick brown fox", "jumps over"};
  const GuessedLayout guessed = guess_layout(lines);
  EXPECT_EQ(peek(lines, guessed, {.source = "fox.txt"}),
            "fox.txt: 2 lines\n"
            "\n"
            "  place     lines  meaning  examples\n"
            "  column 1   100%           the quick brown fox  jumps over\n"
            "\n"
            "Guesses, and what speaks for them:\n"
            "  kind  columns  sure    lines of text that aren't JSON\n"
            "\n"
            "To be checked by you:\n"
            "  - no place holds 24-bit addresses, as six hex digits\n"
            "\n"
            "No layout can be given: address and position are needed at least.\n");
  EXPECT_EQ(peek(lines, guessed, {.source = "any", .layout_only = true}), "");
}

TEST(Peek, LetsNoControlCharacterReachTheTerminal) {
  std::vector<std::string> lines = traffic_lines({}, [](const Fix& f) {
    return fmt::format("{:06x},{:.5f},{:.5f},\x1b[2J\x07{},\xFF\xFE", f.address, f.latitude_deg,
                       f.longitude_deg, f.n % 2);
  });
  lines.insert(lines.begin(), "code,lat\x1b[31m,lon,note,\x1b]0;title\x07");
  const std::string text = peek(lines, guess_layout(lines), {.source = "\x1b[1mfeed"});
  for (const char c : text)
    EXPECT_TRUE(c == '\n' || static_cast<unsigned char>(c) >= 0x20) << static_cast<int>(c);
  EXPECT_THAT(text, Not(HasSubstr("\x7f")));
}

TEST(PeekJson, HoldsTheSameForPrograms) {
  const std::vector<std::string> lines = mixed_lines();
  const GuessedLayout guessed = guess_layout(lines, "roof");
  const auto json = nlohmann::json::parse(peek_json(guessed, {.source = "a\xFF"}));
  EXPECT_EQ(json["lines"], 400);
  EXPECT_EQ(json["reports"], 300);
  EXPECT_EQ(json["aircraft"], 12);
  EXPECT_EQ(json["rejected"]["not_position"], 100);
  EXPECT_EQ(json["layout"], to_toml(*guessed.layout));
  EXPECT_EQ(json["guesses"].size(), guessed.guesses.size());
  EXPECT_EQ(json["guesses"][0]["field"], "kind");
  EXPECT_EQ(json["doubts"].size(), guessed.doubts.size());
}

}  // namespace
}  // namespace roundel::feed
