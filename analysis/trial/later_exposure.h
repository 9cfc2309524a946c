// An exposure that one thread gives hours to, and another puts together.
#pragma once
#include <atomic>
#include <mutex>
#include <utility>
#include <vector>

#include "analysis/pattern/hour_exposure.h"
#include "roundel/pattern/exposure.h"

namespace roundel::trial {

/// Hours count in the order in which they were given, whenever they are put together.
class LaterExposure {
 public:
  LaterExposure(const site::Viewpoint& viewpoint, double sector_deg, int flights_per_sector)
      : builder_(viewpoint, sector_deg, flights_per_sector) {}

  void give(pattern::HourExposure hour) {
    const std::lock_guard alone(mutex_);
    given_.push_back(std::move(hour));
    has_given_ = true;
  }
  /// Puts together what was given so far. May run beside give(), not beside itself or what follows.
  void settle() {
    std::vector<pattern::HourExposure> given;
    {
      const std::lock_guard alone(mutex_);
      given.swap(given_);
      has_given_ = false;
    }
    for (pattern::HourExposure& hour : given) builder_.add(std::move(hour));
  }
  void add(const schema::Cell& cell, const schema::Flight& flight, const site::Sighting& sighting) {
    if (has_given_) settle();
    builder_.add(cell, flight, sighting);
  }
  pattern::Exposure finish() {
    settle();
    return builder_.finish();
  }

 private:
  pattern::ExposureBuilder builder_;
  std::mutex mutex_;
  std::vector<pattern::HourExposure> given_;
  std::atomic<bool> has_given_ = false;
};

}  // namespace roundel::trial
