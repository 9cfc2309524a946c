// tests/reference/data/stats_benjamini_hochberg.csv: the paper's worked example, adjusted values by
// R's p.adjust (12 digits printed).
#include "analysis/trial/false_discovery.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <fstream>
#include <sstream>
#include <string>
#include <vector>

namespace roundel::trial {
namespace {

TEST(FalseDiscovery, AgreesWithThePublishedExample) {
  std::ifstream in(ROUNDEL_REFERENCE_DIR "/stats_benjamini_hochberg.csv");
  ASSERT_TRUE(in);
  std::vector<double> p, expected;
  for (std::string line; std::getline(in, line);) {
    if (line.empty() || line[0] == '#' || line.starts_with("rank")) continue;
    std::istringstream fields(line);
    std::vector<std::string> row;
    for (std::string field; std::getline(fields, field, ',');) row.push_back(field);
    p.push_back(std::stod(row[1]));
    expected.push_back(std::stod(row[3]));
  }
  ASSERT_EQ(p.size(), 15U);
  // In any order.
  std::reverse(p.begin(), p.end());
  const auto adjusted = adjusted_p(p);
  for (std::size_t i = 0; i < p.size(); ++i)
    EXPECT_NEAR(adjusted[i], expected[p.size() - 1 - i], 1e-11) << p[i];
}

TEST(FalseDiscovery, OfNothingIsNothing) { EXPECT_TRUE(adjusted_p({}).empty()); }

}  // namespace
}  // namespace roundel::trial
