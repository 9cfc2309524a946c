// Gauss-Hermite rules of five and of three nodes for the weight exp(-t^2): how a random level is
// integrated out.
#pragma once
#include <array>

namespace roundel::pattern {

/// Abramowitz and Stegun, Handbook of Mathematical Functions, table 25.10.
inline constexpr std::array<double, 5> hermite_node{-2.0201828705, -0.9585724646, 0, 0.9585724646,
                                                    2.0201828705};
inline constexpr std::array<double, 5> hermite_weight{0.0199532421, 0.3936193232, 0.9453087205,
                                                      0.3936193232, 0.0199532421};

inline constexpr std::array<double, 3> hermite_node_3{-1.2247448714, 0, 1.2247448714};
inline constexpr std::array<double, 3> hermite_weight_3{0.2954089752, 1.1816359006, 0.2954089752};

}  // namespace roundel::pattern
