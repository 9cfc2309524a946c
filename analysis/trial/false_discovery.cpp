#include "analysis/trial/false_discovery.h"

#include <algorithm>
#include <numeric>

namespace roundel::trial {

std::vector<double> adjusted_p(std::span<const double> p) {
  std::vector<std::size_t> order(p.size());
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::sort(order.begin(), order.end(), [&](auto i, auto j) { return p[i] > p[j]; });
  std::vector<double> out(p.size());
  double least = 1;
  for (std::size_t k = 0; k < order.size(); ++k) {
    const auto rank = static_cast<double>(p.size() - k);
    least = std::min(least, p[order[k]] * static_cast<double>(p.size()) / rank);
    out[order[k]] = least;
  }
  return out;
}

}  // namespace roundel::trial
