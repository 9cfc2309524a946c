#include "roundel/site/limit.h"

#include <fmt/format.h>

#include <string>

namespace roundel::site {
namespace {

class EffectiveEarthLimit final : public Limit {
 public:
  explicit EffectiveEarthLimit(const Viewpoint& viewpoint)
      : viewpoint_(viewpoint),
        method_(viewpoint.k() == k_standard ? "4/3 Earth"
                : viewpoint.k() == 1        ? "geometric"
                                            : fmt::format("{:.3g} Earth", viewpoint.k())) {}
  double limit_km(double bearing_deg, double altitude_ft) const noexcept override {
    return viewpoint_.horizon_km(bearing_deg, altitude_ft);
  }
  std::string_view method() const noexcept override { return method_; }

 private:
  const Viewpoint& viewpoint_;
  std::string method_;
};

class RefractionLimit final : public Limit {
 public:
  RefractionLimit(const Viewpoint& viewpoint, const Refraction& refraction)
      : viewpoint_(viewpoint), refraction_(refraction), method_(refraction.method()) {}
  double limit_km(double bearing_deg, double altitude_ft) const noexcept override {
    return refraction_.horizon_km(viewpoint_.radius_km(bearing_deg),
                                  viewpoint_.antenna().height_m(),
                                  viewpoint_.height_m(altitude_ft));
  }
  std::string_view method() const noexcept override { return method_; }

 private:
  const Viewpoint& viewpoint_;
  Refraction refraction_;
  std::string method_;
};

}  // namespace

std::string_view name_of(LimitCause cause) {
  switch (cause) {
    case LimitCause::horizon:
      return "horizon";
    case LimitCause::mask:
      return "mask";
    case LimitCause::terrain:
      return "terrain";
    case LimitCause::link:
      return "link";
  }
  return "";
}

LimitCause Limit::cause(double /*bearing_deg*/, double /*altitude_ft*/) const noexcept {
  return LimitCause::horizon;
}

std::unique_ptr<Limit> horizon_limit(const Viewpoint& viewpoint, const Refraction& refraction) {
  return std::make_unique<RefractionLimit>(viewpoint, refraction);
}

std::unique_ptr<Limit> effective_earth_limit(const Viewpoint& viewpoint) {
  return std::make_unique<EffectiveEarthLimit>(viewpoint);
}

Result<std::unique_ptr<Limit>> ray_limit(const Viewpoint& viewpoint, const Atmosphere& atmosphere) {
  RefractionSettings settings;
  settings.atmosphere = atmosphere;
  const auto refraction = Refraction::make(settings);
  if (!refraction) return tl::unexpected(refraction.error());
  return horizon_limit(viewpoint, *refraction);
}

}  // namespace roundel::site
