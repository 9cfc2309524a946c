#include "analysis/trial/separate_design.h"

#include <fmt/format.h>

#include <Eigen/LU>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <optional>
#include <set>

namespace roundel::trial {
namespace {

// Of one arrangement's Fourier coefficient, as a day of usual traffic leaves it.
constexpr double coefficient_se_db = 0.15;

std::string joined_words(const std::vector<std::string>& all) {
  std::string out;
  for (std::size_t i = 0; i < all.size(); ++i)
    out += (i == 0 ? "" : i + 1 == all.size() ? " and " : ", ") + all[i];
  return out;
}

// "order 4", "orders 1 to 6", "orders 2, 4 and 6"
std::string orders_text(const std::vector<int>& orders) {
  const bool is_run =
      orders.size() > 2 && orders.back() - orders.front() + 1 == static_cast<int>(orders.size());
  if (is_run) return fmt::format("orders {} to {}", orders.front(), orders.back());
  std::vector<std::string> words;
  for (const int order : orders) words.push_back(std::to_string(order));
  return (orders.size() == 1 ? "order " : "orders ") + joined_words(words);
}

std::vector<int> missing_orders(const Part& part) {
  std::vector<int> out;
  for (const PartHarmonic& one : part.harmonics)
    if (!one.identified) out.push_back(one.order);
  return out;
}

bool has_offset_missing(const std::vector<Part>& parts) {
  return parts.size() > 1 && std::any_of(parts.begin(), parts.end(),
                                         [](const Part& one) { return !one.offset.identified; });
}

std::vector<std::string> names_of(const std::vector<Part>& parts) {
  std::vector<std::string> out;
  for (const Part& one : parts) out.push_back(one.name);
  return out;
}

}  // namespace

double prior_sd_db(int order) {
  if (order == 0) return 6;
  return 3 / std::sqrt(1 + std::pow(order / 3.0, 4));
}

Design::Design(const std::vector<Arrangement>& arrangements) : arrangements_(arrangements) {
  const auto add = [](std::vector<std::string>& to, const std::string& name) {
    if (std::find(to.begin(), to.end(), name) == to.end()) to.push_back(name);
  };
  for (const Arrangement& one : arrangements) {
    add(names_[0], one.antenna);
    add(names_[1], one.mount);
    add(names_[2], one.receiver);
  }
}

int Design::index(std::size_t kind, const std::string& name) const {
  const auto& all = names_[kind];
  return static_cast<int>(std::find(all.begin(), all.end(), name) - all.begin());
}

std::vector<std::string> Design::not_identified(const Separation& result) const {
  std::vector<std::string> out;
  for (const Part& antenna : result.antennas) {
    const std::vector<int> missing = missing_orders(antenna);
    if (missing.empty()) continue;
    std::set<double> rotations;
    std::set<std::string> mounts;
    for (const Arrangement& one : arrangements_) {
      if (one.antenna != antenna.name) continue;
      rotations.insert(one.rotation_deg);
      mounts.insert(one.mount);
    }
    std::vector<std::string> degrees;
    for (const double one : rotations) degrees.push_back(fmt::format("{:g}", one));
    out.push_back(fmt::format(
        "{} of antenna {} cannot be told from the mount's: {}", orders_text(missing), antenna.name,
        rotations.size() == 1
            ? fmt::format("it stood at {} degrees only", degrees.front())
            : fmt::format("at {} degrees they look the same, or too few flights were heard",
                          joined_words(degrees))));
  }
  for (const Part& mount : result.mounts) {
    const std::vector<int> missing = missing_orders(mount);
    if (missing.empty()) continue;
    out.push_back(fmt::format("{} of mount {} cannot be told from the antenna's",
                              orders_text(missing), mount.name));
  }
  if (has_offset_missing(result.receivers))
    out.push_back(
        fmt::format("how the receivers {} differ in sensitivity cannot be told: none "
                    "was swapped with antenna and mount left as they were",
                    joined_words(names_of(result.receivers))));
  if (has_offset_missing(result.antennas))
    out.push_back(
        fmt::format("how the antennas {} differ in mean gain cannot be told from "
                    "receiver or mount",
                    joined_words(names_of(result.antennas))));
  if (has_offset_missing(result.mounts))
    out.push_back(
        fmt::format("how the mounts {} differ on the mean of bearings cannot be told "
                    "from receiver or antenna",
                    joined_words(names_of(result.mounts))));
  for (std::string& one : out) one[0] = static_cast<char>(std::toupper(one[0]));
  return out;
}

double Design::left_db2(const std::vector<Arrangement>& arrangements) const {
  using Complex = std::complex<double>;
  const auto n_antennas = static_cast<Eigen::Index>(antennas().size());
  const auto n_mounts = static_cast<Eigen::Index>(mounts().size());
  const auto n_receivers = static_cast<Eigen::Index>(receivers().size());
  double out = 0;
  for (int order = 0; order <= told_orders; ++order) {
    const Eigen::Index n = n_antennas + n_mounts + (order == 0 ? n_receivers + 1 : 0);
    const double prior = prior_sd_db(order) * prior_sd_db(order);
    Eigen::MatrixXcd information = Eigen::MatrixXcd::Identity(n, n) / prior;
    if (order == 0) information(n - 1, n - 1) = 1e-6;  // the common constant
    for (const Arrangement& one : arrangements) {
      Eigen::VectorXcd row = Eigen::VectorXcd::Zero(n);
      row[antenna_of(one)] = std::polar(1.0, -order * one.rotation_deg * std::numbers::pi / 180);
      row[n_antennas + mount_of(one)] = 1;
      if (order == 0) {
        row[n_antennas + n_mounts + receiver_of(one)] = 1;
        row[n - 1] = 1;
      }
      information += row.conjugate() * row.transpose() / (coefficient_se_db * coefficient_se_db);
    }
    const Eigen::MatrixXcd covariance = information.inverse();
    if (order > 0) {
      out += covariance.trace().real();
      continue;
    }
    // Offsets against the mean of their kind.
    for (const auto& [first, count] :
         {std::pair{Eigen::Index{0}, n_antennas}, std::pair{n_antennas, n_mounts},
          std::pair{n_antennas + n_mounts, n_receivers}}) {
      const Eigen::MatrixXcd block = covariance.block(first, first, count, count);
      out += block.trace().real() - (block.sum() / Complex(static_cast<double>(count))).real();
    }
  }
  return out;
}

std::vector<std::string> Design::advice(const Separation& result) const {
  bool is_complete = true;
  for (const auto* parts : {&result.antennas, &result.mounts}) {
    for (const Part& part : *parts) is_complete = is_complete && missing_orders(part).empty();
    is_complete = is_complete && !has_offset_missing(*parts);
  }
  is_complete = is_complete && !has_offset_missing(result.receivers);
  if (is_complete)
    return {"All is told apart; more hours of the same trials only narrow the intervals."};
  // Easy turns first: a harder one must be better by a twentieth.
  constexpr std::array<double, 12> turns_deg{0, 90, 45, 135, 60, 30, 120, 150, 180, 225, 270, 315};
  std::optional<Arrangement> best;
  const double now = left_db2(arrangements_);
  double least = now;
  for (const double turn_deg : turns_deg) {
    for (const std::string& antenna : antennas()) {
      // Turned from where it stood first.
      const auto stood = std::find_if(arrangements_.begin(), arrangements_.end(),
                                      [&](const auto& one) { return one.antenna == antenna; });
      for (const std::string& mount : mounts()) {
        for (const std::string& receiver : receivers()) {
          Arrangement next{antenna, receiver, mount, std::fmod(stood->rotation_deg + turn_deg, 360),
                           0,       0};
          auto all = arrangements_;
          all.push_back(next);
          const double left = left_db2(all);
          if (left > least - 0.05 * now) continue;
          least = left;
          best = std::move(next);
        }
      }
    }
  }
  double hours = 0;
  for (const Arrangement& one : result.arrangements)
    hours += one.hours / static_cast<double>(result.arrangements.size());
  std::vector<std::string> out;
  if (best)
    out.push_back(fmt::format(
        "The trial that would help most: antenna {} turned to {:g} degrees on mount {} with "
        "receiver {}, for as long as the others ({:.0f} h).",
        best->antenna, best->rotation_deg, best->mount, best->receiver, std::max(1.0, hours)));
  else
    out.push_back("The trials are of the right kind; let them run for longer.");
  if (antennas().size() == 1 && receivers().size() == 1 && mounts().size() == 1)
    out.push_back("What turns with the antenna is the antenna's; what stays is the mount's.");
  return out;
}

}  // namespace roundel::trial
