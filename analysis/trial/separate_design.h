// Which parts a set of arrangements tells apart, and which further one would help most.
#pragma once
#include <array>
#include <string>
#include <vector>

#include "roundel/trial/separate.h"

namespace roundel::trial {

inline constexpr int fitted_orders = 12, told_orders = 6;

/// Prior standard deviation of an order's coefficients, dB; order 0: of offsets.
double prior_sd_db(int order);
/// Data that leave more of the prior's variance than this have not identified a thing.
inline constexpr double identified_share = 0.25;

/// The parts that arrangements are made of, numbered: antennas, then mounts, then receivers.
class Design {
 public:
  explicit Design(const std::vector<Arrangement>& arrangements);

  const std::vector<std::string>& antennas() const { return names_[0]; }
  const std::vector<std::string>& mounts() const { return names_[1]; }
  const std::vector<std::string>& receivers() const { return names_[2]; }
  int antenna_of(const Arrangement& one) const { return index(0, one.antenna); }
  int mount_of(const Arrangement& one) const { return index(1, one.mount); }
  int receiver_of(const Arrangement& one) const { return index(2, one.receiver); }

  /// Sentences for what is not told apart. `antennas` and `mounts` of `result` are filled.
  std::vector<std::string> not_identified(const Separation& result) const;
  /// The further arrangement that leaves least of the prior's variance, in words.
  std::vector<std::string> advice(const Separation& result) const;

 private:
  int index(std::size_t kind, const std::string& name) const;
  /// Variance left of all parts and orders together, dB^2.
  double left_db2(const std::vector<Arrangement>& arrangements) const;
  std::array<std::vector<std::string>, 3> names_;
  std::vector<Arrangement> arrangements_;
};

}  // namespace roundel::trial
