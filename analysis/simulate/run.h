// What both levels share: the scenario made ready, its stations and its truth.
#pragma once
#include <memory>
#include <vector>

#include "analysis/simulate/plane.h"
#include "analysis/simulate/reception.h"
#include "analysis/simulate/traffic.h"
#include "roundel/simulate/simulate.h"

namespace roundel::simulate {

/// Everything a simulation walks through time with. Not movable: parts refer to the scenario.
struct Run {
  static Result<std::unique_ptr<Run>> make(const Scenario& scenario);
  Run(const Run&) = delete;
  Run& operator=(const Run&) = delete;

  Scenario scenario;  ///< completed
  Plane plane;
  Surroundings surroundings;
  ChanceTable chances;
  std::vector<Station> stations;     ///< by trial
  std::vector<std::size_t> feed_of;  ///< by trial
  std::unique_ptr<TrafficSource> traffic;
  Truth truth;  ///< all but counts and flights

  double end_s() const { return scenario.start_s + scenario.hours * 3600; }
  const FeedPlan& feed(std::size_t trial) const { return scenario.feeds[feed_of[trial]]; }
  /// Brings all tables to a time; they hold until the time returned.
  double update(double time_s);
  /// How much of [from_s, to_s) the trial records: seconds within it and outside outages, which do
  /// not overlap each other.
  double recorded_s(std::size_t trial, double from_s, double to_s) const;
  FlightTruth describe(const Track& track) const;

 private:
  explicit Run(Scenario ready);
};

}  // namespace roundel::simulate
