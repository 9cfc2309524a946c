#include "roundel/site/altitude.h"

#include <cassert>
#include <cmath>

namespace roundel::site {

double height_offset_m(double sea_level_hpa) noexcept {
  assert(sea_level_hpa >= least_hpa && sea_level_hpa <= most_hpa);
  return -44'330.77 * (1 - std::pow(sea_level_hpa / standard_hpa, 0.190263));
}

}  // namespace roundel::site
