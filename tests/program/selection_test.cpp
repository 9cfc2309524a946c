#include "analysis/program/selection.h"

#include <gtest/gtest.h>

#include <CLI/CLI.hpp>

namespace roundel::program {
namespace {

TEST(ParseSelection, ReadsEveryKey) {
  const auto selection = parse_selection(
      "antenna=collinear,receiver=rx1,mount=gable,feed=roof,trial=2,trial=5,from=2026-03-01,"
      "to=1772409600.5",
      "--a");
  ASSERT_TRUE(selection) << selection.error().line();
  EXPECT_EQ(selection->antenna, "collinear");
  EXPECT_EQ(selection->receiver, "rx1");
  EXPECT_EQ(selection->mount, "gable");
  EXPECT_EQ(selection->feed, "roof");
  EXPECT_EQ(selection->trials, (std::vector<schema::Id>{2, 5}));
  EXPECT_EQ(selection->from_s, 1772323200.0) << "GNU date -ud 2026-03-01 +%s";
  EXPECT_EQ(selection->to_s, 1772409600.5);
}

TEST(ParseSelection, LeavesOutWhatIsNotSaid) {
  const auto selection = parse_selection("antenna=spider", "--b");
  ASSERT_TRUE(selection);
  EXPECT_FALSE(selection->mount || selection->feed || selection->receiver || selection->from_s ||
               selection->to_s);
  EXPECT_TRUE(selection->trials.empty());
}

TEST(ParseSelection, SaysWhichOptionAndWhatIsWrong) {
  const std::string remedy =
      "; write pairs like antenna=collinear,from=2026-03-01 with the keys antenna, receiver, "
      "mount, feed, trial, from, to";
  const struct {
    const char* word;
    std::string line;
  } rows[] = {
      {"", "--a: an empty selection" + remedy},
      {"collinear", "--a: \"collinear\" is not a pair key=value" + remedy},
      {"antenna=", "--a: \"antenna=\" is not a pair key=value" + remedy},
      {"antenna=a,,mount=b", "--a: \"\" is not a pair key=value" + remedy},
      {"aerial=x", "--a: unknown key \"aerial\"" + remedy},
      {"trial=two", "--a: \"two\" is not the number of a trial" + remedy},
      {"mount=a,mount=b", "--a: \"mount\" is given twice" + remedy},
      {"from=soon",
       "--a from: \"soon\" is not a time; write Unix seconds or RFC 3339, like "
       "2026-03-01T12:00:00Z"},
      {"from=2026-03-02,to=2026-03-01",
       "--a to: 2026-03-01 is not after 2026-03-02; give an end after the beginning"},
  };
  for (const auto& row : rows) {
    const auto selection = parse_selection(row.word, "--a");
    ASSERT_FALSE(selection) << row.word;
    EXPECT_EQ(selection.error().line(), row.line);
    EXPECT_EQ(selection.error().code, Errc::bad_usage) << row.word;
  }
}

TEST(SelectionOptions, AreReadFromTheCommandLine) {
  CLI::App command;
  SelectionOptions options;
  add_selection(command, options);
  std::vector<std::string> words{"2026-03-02", "--to",  "2026-03-01", "--from", "1,3",
                                 "--trial",    "gable", "--mount",    "spider", "--antenna"};
  command.parse(words);
  const auto selection = options.selection();
  ASSERT_TRUE(selection) << selection.error().line();
  EXPECT_EQ(selection->antenna, "spider");
  EXPECT_EQ(selection->mount, "gable");
  EXPECT_EQ(selection->trials, (std::vector<schema::Id>{1, 3}));
  EXPECT_EQ(*selection->to_s - *selection->from_s, 86400);
}

TEST(SelectionOptions, NameTheOptionInErrors) {
  SelectionOptions options;
  options.to = "later";
  const auto selection = options.selection();
  ASSERT_FALSE(selection);
  EXPECT_EQ(selection.error().line(),
            "--to: \"later\" is not a time; write Unix seconds or RFC 3339, like "
            "2026-03-01T12:00:00Z");
}

}  // namespace
}  // namespace roundel::program
