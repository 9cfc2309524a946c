#include "tests/simulation/drawn_site.h"

#include <cstdio>
#include <cstdlib>
#include <random>
#include <utility>

namespace roundel::calibration {

simulate::Scenario drawn_site(std::uint64_t seed, std::uint64_t draw_seed, double hours) {
  std::mt19937_64 draw(draw_seed);
  const auto uniform = [&](double low, double high) {
    return low + (high - low) * static_cast<double>(draw() >> 11U) * 0x1p-53;
  };
  simulate::Scenario s;
  s.seed = seed;
  s.hours = hours;
  s.reception.margin_db = uniform(3, 8);
  s.reception.softness_db = uniform(0.8, 1.8);
  s.reception.message_loss = uniform(0.03, 0.25);
  s.reception.power_sd_db = uniform(1.5, 3.5);
  s.reception.shadow_sd_db = uniform(0.5, 1.5);
  s.traffic.crossing_share = uniform(0.25, 0.6);
  return s;
}

Simulated simulated(const simulate::Scenario& scenario, const std::string& name) {
  auto viewpoint = site::Viewpoint::from(scenario.site);
  auto set = viewpoint ? simulate::cells(scenario) : tl::unexpected(viewpoint.error());
  if (!set) {
    std::fprintf(stderr, "%s: %s\n", name.c_str(), set.error().line().c_str());
    std::exit(1);
  }
  return {std::move(*viewpoint), std::move(*set)};
}

}  // namespace roundel::calibration
