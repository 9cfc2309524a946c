// What range to expect: horizon, mask, terrain and link budget in one limit.
#pragma once
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "roundel/site/expect_settings.h"
#include "roundel/site/limit.h"
#include "roundel/site/mask.h"
#include "roundel/site/terrain.h"

namespace roundel::site {

struct ExpectedRange {
  double range_km{};
  LimitCause cause = LimitCause::horizon;
};

/// One altitude, means over all bearings.
struct ExpectedAltitude {
  double altitude_ft{};
  double height_m{};    ///< above the surrounding surface
  double horizon_km{};  ///< by the chosen refraction
  double horizon_effective_km{}, horizon_ray_km{}, horizon_straight_km{};
  double link_km{};
  double expected_km{};
  LimitCause cause = LimitCause::horizon;  ///< of most bearings
  double margin_at_horizon_db{};
};

/// What a change would bring, per altitude of the list it was asked for.
struct Help {
  std::string what;  ///< "one more metre of height"
  std::vector<double> gain_km;
};

/// Site, settings and what was read from files, ready to be asked. Immutable; threads may share it.
class Expectation {
 public:
  /// Reads mask and tiles. Errc: out_of_range, and those of Mask and Terrain.
  static Result<Expectation> make(const schema::SiteRow& site, const ExpectSettings& settings);
  Expectation(Expectation&&) noexcept;
  Expectation& operator=(Expectation&&) noexcept;
  ~Expectation();

  const Viewpoint& viewpoint() const noexcept;
  const ExpectSettings& settings() const noexcept;
  const Refraction& refraction() const noexcept;
  /// The smooth horizon alone: what ratios are taken of.
  const Limit& horizon() const noexcept;
  /// Horizon, mask, terrain and link, whichever is least: tables by bearing (1 degree) and height,
  /// for asking it of every cell. Made by the first call (about 0.2 s with terrain).
  const Limit& limit() const;

  /// At one bearing, without tables.
  ExpectedRange expected(double bearing_deg, double altitude_ft) const noexcept;
  ExpectedAltitude altitude(double altitude_ft) const noexcept;
  /// Elevation below which mask or terrain hides everything far away; none: neither is known.
  std::optional<double> mask_deg(double bearing_deg) const noexcept;
  /// What one more metre, 3 dB less feeder loss and an amplifier would
  /// gain, mean over bearings.
  std::vector<Help> help(const std::vector<double>& altitudes_ft) const;
  /// What a person should know: tiles that are missing, voids, ground that disagrees with the site.
  const std::vector<std::string>& warnings() const noexcept;

 private:
  struct Impl;
  explicit Expectation(std::unique_ptr<Impl> impl);
  std::unique_ptr<Impl> impl_;
};

}  // namespace roundel::site
