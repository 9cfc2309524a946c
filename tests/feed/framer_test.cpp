#include "roundel/feed/framer.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <string>
#include <vector>

namespace roundel::feed {
namespace {

using testing::ElementsAre;
using testing::IsEmpty;

struct Framed {
  std::vector<std::string> lines;
  std::uint64_t too_long{};
  friend bool operator==(const Framed&, const Framed&) = default;
};

Framed framed(const std::vector<std::string>& pieces) {
  Framed out;
  LineFramer framer;
  const auto keep = [&](std::string_view line) { out.lines.emplace_back(line); };
  for (const std::string& piece : pieces) framer.feed(piece, keep);
  framer.finish(keep);
  out.too_long = framer.too_long();
  return out;
}

struct StreamRow {
  const char* name;
  std::string bytes;
  std::vector<std::string> lines;
  std::uint64_t too_long;
};

std::vector<StreamRow> stream_rows() {
  const std::string longest(std::size_t{config::usual_line_bytes}, 'x');
  return {
      {"lines end in LF", "one\ntwo\n", {"one", "two"}, 0},
      {"lines end in CR LF", "one\r\ntwo\r\n", {"one", "two"}, 0},
      {"ends may be mixed", "one\r\ntwo\nthree\r\n", {"one", "two", "three"}, 0},
      {"empty lines are skipped", "\n\r\none\n\n\r\n", {"one"}, 0},
      {"a last line needs no end", "one\ntwo", {"one", "two"}, 0},
      {"nor does its CR count", "one\ntwo\r", {"one", "two"}, 0},
      {"a lone CR is a byte like any other", "o\rne\n", {"o\rne"}, 0},
      {"only one CR belongs to the end", "one\r\r\n", {"one\r"}, 0},
      {"a zero byte is a byte like any other",
       std::string("o\0ne\n", 5),
       {std::string("o\0ne", 4)},
       0},
      {"the longest line is read", longest + "\nafter\n", {longest, "after"}, 0},
      {"its end doesn't count towards the limit", longest + "\r\nafter\n", {longest, "after"}, 0},
      {"one byte more is too long", longest + "y\nafter\n", {"after"}, 1},
      {"also before CR LF", longest + "y\r\nafter\n", {"after"}, 1},
      {"a CR that isn't the end counts", longest + "\rz\nafter\n", {"after"}, 1},
      {"the longest line without an end", longest, {longest}, 0},
      {"too long without an end", longest + "y", {}, 1},
      {"much too long counts once", longest + longest + longest + "\nafter\n", {"after"}, 1},
      {"two too long count twice", longest + "y\n" + longest + "y\nafter\n", {"after"}, 2},
      {"nothing", "", {}, 0},
  };
}

TEST(LineFramer, CutsLinesAtTheirEnds) {
  for (const StreamRow& row : stream_rows()) {
    const Framed whole = framed({row.bytes});
    EXPECT_EQ(whole.lines, row.lines) << row.name;
    EXPECT_EQ(whole.too_long, row.too_long) << row.name;
  }
}

TEST(LineFramer, GivesTheSameLinesHoweverTheBytesAreCut) {
  for (const StreamRow& row : stream_rows()) {
    const Framed expected{row.lines, row.too_long};
    for (std::size_t cut = 0; cut <= row.bytes.size(); ++cut)
      ASSERT_EQ(framed({row.bytes.substr(0, cut), row.bytes.substr(cut)}), expected)
          << row.name << ", cut after " << cut;
    std::vector<std::string> bytes;
    for (const char byte : row.bytes) bytes.emplace_back(1, byte);
    EXPECT_EQ(framed(bytes), expected) << row.name << ", byte by byte";
  }
}

TEST(LineFramer, ForgetsALineBegunWhenTheConnectionIsLost) {
  LineFramer framer;
  std::vector<std::string> lines;
  const auto keep = [&](std::string_view line) { lines.emplace_back(line); };
  framer.feed("one\ntw", keep);
  framer.reset();
  framer.feed("three\n", keep);
  EXPECT_THAT(lines, ElementsAre("one", "three"));
}

TEST(LineFramer, StopsSkippingALongLineWhenTheConnectionIsLost) {
  LineFramer framer;
  std::vector<std::string> lines;
  const auto keep = [&](std::string_view line) { lines.emplace_back(line); };
  framer.feed(std::string(std::size_t{config::usual_line_bytes} + 2, 'x'), keep);
  framer.reset();
  framer.feed("one\n", keep);
  EXPECT_THAT(lines, ElementsAre("one"));
  EXPECT_EQ(framer.too_long(), 1u);
}

TEST(LineFramer, IsReadyForAnotherStreamAfterTheLast) {
  LineFramer framer;
  std::vector<std::string> lines;
  const auto keep = [&](std::string_view line) { lines.emplace_back(line); };
  framer.feed(std::string(std::size_t{config::usual_line_bytes} + 2, 'x'), keep);
  framer.finish(keep);
  EXPECT_THAT(lines, IsEmpty());
  framer.feed("one\ntwo", keep);
  framer.finish(keep);
  framer.finish(keep);
  EXPECT_THAT(lines, ElementsAre("one", "two"));
}

}  // namespace
}  // namespace roundel::feed
