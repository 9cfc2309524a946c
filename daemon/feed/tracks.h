// Whether three places of a sample are an aircraft's address and its position: by how it moves.
#pragma once
#include <cstddef>
#include <optional>

#include "daemon/feed/sample_table.h"
#include "daemon/feed/traits.h"

namespace roundel::feed {

struct TimePlace {
  std::size_t place;
  TimeKind kind;
};

struct PositionPlaces {
  std::size_t address, latitude, longitude;
};

/// Steps are from one line of an address to its next.
struct TrackEvidence {
  std::size_t n_aircraft = 0;
  std::size_t n_steps = 0;
  std::size_t n_plausible = 0;  ///< no faster than aircraft fly
  std::size_t n_moving = 0;     ///< more than 20 m
  bool moves_like_aircraft() const;
};

/// Distances by GeographicLib. A step is plausible up to 1200 kn and 0.3 km of latency, where
/// there is a time; up to 15 km otherwise (a minute of a fast aircraft, or a pause in the sample).
TrackEvidence tracks(const SampleTable& table, const Rows& rows, const PositionPlaces& places,
                     const std::optional<TimePlace>& time);

/// How many steps of at least 0.1 km there are, and at how many of them the value at `place` is
/// within 10 degrees of the step's course.
struct CourseMatch {
  std::size_t n_steps = 0, n_matching = 0;
};
CourseMatch match_course(const SampleTable& table, const Rows& rows, const PositionPlaces& places,
                         std::size_t place);

}  // namespace roundel::feed
