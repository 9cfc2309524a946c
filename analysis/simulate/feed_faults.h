// What a feed makes of the reports that its receiver heard.
#pragma once
#include <cstdint>
#include <vector>

#include "analysis/simulate/plane.h"
#include "analysis/simulate/random.h"
#include "roundel/simulate/simulate.h"

namespace roundel::simulate {

/// A line on its way out.
struct Print {
  double print_s{};  ///< when it is printed; the report's own time may be earlier
  std::size_t feed{};
  Report report;
};

/// The faults of one feed for one aircraft.
class FeedFaults {
 public:
  FeedFaults(const FeedPlan& plan, const Plane& plane, Random random)
      : plan_(&plan), plane_(&plane), random_(random) {}

  /// Appends what is printed of a report that was heard: none, one or more lines.
  /// @param time_s  true time
  void print(std::size_t feed, const Report& report, double time_s, double range_km,
             FeedTruth& truth, std::vector<Print>& out);

 private:
  const FeedPlan* plan_;
  const Plane* plane_;
  Random random_;
  std::int64_t last_second_ = -1;
};

/// Where a receiver puts an aircraft that it decodes against its own position from one message:
/// right within half a cell of 6 degrees of latitude (180 NM), one cell off beyond (compact
/// position reporting, local decoding: ICAO Doc 9871, appendix C; from memory).
Position decoded_locally(Position aircraft, Position receiver, bool is_odd);

}  // namespace roundel::simulate
