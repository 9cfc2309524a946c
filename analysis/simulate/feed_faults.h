// What a feed makes of the reports that its receiver heard.
#pragma once
#include <cstdint>
#include <optional>
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
  FeedFaults(const FeedPlan& plan, double start_s, const Plane& plane, Random random)
      : plan_(&plan), start_s_(start_s), plane_(&plane), random_(random) {}

  /// Appends what is printed of a report that was heard: none, one or more lines.
  /// @param time_s  true time
  void print(std::size_t feed, const Report& report, double time_s, const Sight& sight,
             FeedTruth& truth, std::vector<Print>& out);
  /// Whether this feed prints lines of messages that were not heard.
  bool prints_unheard() const {
    return plan_->extrapolate_s > 0 || plan_->poll_s > 0 || !plan_->networks.empty();
  }
  /// The same of a message that was not heard.
  void print_unheard(std::size_t feed, const Report& report, double time_s, double bearing_deg,
                     FeedTruth& truth, std::vector<Print>& out);

 private:
  void put(Print print, FeedTruth& truth, std::vector<Print>& out);
  void extrapolate(std::size_t feed, double time_s, FeedTruth& truth, std::vector<Print>& out);
  void remember(const Report& report, double time_s);
  void poll(double time_s, FeedTruth& truth, std::vector<Print>& out);
  double printed_time_s(double time_s) const;

  const FeedPlan* plan_;
  double start_s_;
  const Plane* plane_;
  Random random_;
  std::int64_t last_second_ = -1;
  double network_s_ = 0;  ///< of the last line of a network
  // Of extrapolation: the last position heard, and how it moves.
  std::optional<Report> last_;
  double last_s_ = 0, north_deg_per_s_ = 0, east_deg_per_s_ = 0;
  bool has_speed_ = false;
  // Of polling: the newest line.
  std::optional<Print> newest_;
  double newest_s_ = 0;
  std::int64_t poll_ = 0;
};

/// Where a receiver puts an aircraft that it decodes against its own position from one message:
/// right within half a cell of 6 degrees of latitude (180 NM), one cell off beyond (compact
/// position reporting, local decoding: ICAO Doc 9871, appendix C; from memory).
Position decoded_locally(Position aircraft, Position receiver, bool is_odd);

}  // namespace roundel::simulate
