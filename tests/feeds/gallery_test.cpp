// Every shape of the gallery: what peek says of it, and whether its table reads the truth back.
#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>

#include "daemon/feed/intake.h"
#include "roundel/feed/guesser.h"
#include "tests/config/sample.h"
#include "tests/feeds/shapes.h"

namespace roundel::feed {
namespace {

std::string said(const GuessedLayout& guessed) {
  std::string text = guessed.layout ? to_toml(*guessed.layout) : "no layout\n";
  for (const Guess& guess : guessed.guesses)
    text += fmt::format("  {} {}: {}\n", guess.field, guess.at, guess.reason);
  for (const std::string& doubt : guessed.doubts) text += "  doubt: " + doubt + "\n";
  return text;
}

TEST(Gallery, PeekSaysWhatItMust) {
  for (const Shape& shape : shapes()) {
    const GuessedLayout guessed = guess_layout(shape.lines);
    const std::string table = guessed.layout ? to_toml(*guessed.layout) : "";
    EXPECT_EQ(table, shape.table.empty() ? "" : "[layout.feed]\n" + shape.table)
        << shape.name << "\n"
        << said(guessed);
    if (shape.doubt.empty()) continue;
    EXPECT_THAT(guessed.doubts, testing::Contains(testing::HasSubstr(shape.doubt)))
        << shape.name << "\n"
        << said(guessed);
  }
}

// Each report is a fix of the truth: same aircraft, same instant, same place, same altitude.
TEST(Gallery, TheTableThatPeekPrintsReadsTheTruth) {
  const std::vector<Fix> truth = gallery_fixes();
  for (const Shape& shape : shapes()) {
    if (shape.table.empty()) continue;
    const auto config =
        config::parse(config::sample_with("[layout.feed]\n" + shape.table), "roundel.toml");
    ASSERT_TRUE(config) << shape.name << ": " << config.error().line();
    LayoutReader reader(config->feeds[0].layout);
    Intake intake;
    for (const std::string& line : shape.lines) intake.add(reader, line, truth.back().time_s);
    if (shape.reads_all) {
      EXPECT_EQ(intake.reports.size(), truth.size()) << shape.name;
    }
    EXPECT_GT(intake.reports.size(), truth.size() / 2) << shape.name;
    std::size_t n_true = 0;
    for (const Arrival& arrival : intake.reports) {
      const Report& report = arrival.report;
      n_true += std::any_of(truth.begin(), truth.end(), [&](const Fix& fix) {
        return fix.address == report.address && report.time_s &&
               std::abs(fix.latitude_deg - report.latitude_deg) <= shape.step_deg &&
               std::abs(fix.longitude_deg - report.longitude_deg) <= shape.step_deg &&
               report.altitude_ft == fix.altitude_ft && std::abs(fix.time_s - *report.time_s) <= 1;
      });
    }
    EXPECT_EQ(n_true, intake.reports.size()) << shape.name;
  }
}

}  // namespace
}  // namespace roundel::feed
