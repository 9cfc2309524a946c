// What is the antenna's, what the mount's, what the receiver's? From trials that differ in them.
#pragma once
#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "roundel/result.h"
#include "roundel/schema/rows.h"
#include "roundel/schema/store.h"
#include "roundel/site/sightline.h"

namespace roundel::trial {

/// One Fourier order of an antenna's or a mount's pattern. Only where `identified` do the figures
/// mean anything; otherwise they are zero.
struct PartHarmonic {
  int order{};  ///< 1 ..
  double amplitude_db{}, low_db{}, high_db{};
  double phase_deg{};  ///< bearing of the maximum, [0, 360 / order); an antenna's at rotation 0
  bool identified = false;
};

/// An antenna (as it stands at rotation 0), a mount or a receiver.
struct Part {
  std::string name;
  /// Against the mean of its kind; meaningful where identified.
  struct Offset {
    double value_db{}, low_db{}, high_db{};
    bool identified = false;
  } offset;
  std::vector<PartHarmonic> harmonics;  ///< orders 1 to 6; none for a receiver
  /// The sum of the identified orders, mean zero; empty unless order 1 is identified.
  struct Point {
    double bearing_deg{}, gain_db{}, low_db{}, high_db{};
  };
  std::vector<Point> pattern;  ///< by 5 degrees
};

/// Trials that share antenna, rotation, receiver and mount.
struct Arrangement {
  std::string antenna, receiver, mount;
  double rotation_deg{};
  std::int64_t flights{};
  double hours{};
};

struct Separation {
  std::vector<Part> antennas, mounts, receivers;
  std::vector<Arrangement> arrangements;    ///< in order of their first trial
  std::vector<std::string> not_identified;  ///< one sentence each: what, and why
  std::vector<std::string> advice;          ///< the next trial that would help most
  double confidence = 0.95;
};

/// Collects the cells of trials in time order, then separates.
///
/// Model, for the gain on bearing phi in arrangement k (pattern/gain.h, one softness for all):
///     G_k(phi) = c + offsets of antenna, mount, receiver
///                + sum over n of Antenna_n(phi - rotation_k) + Mount_n(phi)
/// by least squares over all sectors with enough flights, n to 12, each coefficient with a wide
/// normal prior (order n: sd 3 dB / sqrt(1 + (n / 3)^4), offsets 6 dB). What the data do not narrow
/// to a quarter of the prior's variance is not identified: order n of antenna and mount is not when
/// n times every rotation is a multiple of 360 degrees. Errors: by airframe over all arrangements,
/// so that what two feeds heard of one aircraft at once cancels. A wall counts to the mount.
class SeparateBuilder {
 public:
  /// The viewpoint must outlive the builder.
  SeparateBuilder(const site::Viewpoint& viewpoint, const std::vector<schema::Trial>& trials,
                  double confidence = 0.95);
  SeparateBuilder(SeparateBuilder&&) noexcept;
  SeparateBuilder& operator=(SeparateBuilder&&) noexcept;
  ~SeparateBuilder();

  /// In order of window. flight.trial says whose cell it is; of no trial given: ignored.
  void add(const schema::Cell& cell, const schema::Flight& flight);
  /// The same where its sightline is known already.
  void add(const schema::Cell& cell, const schema::Flight& flight, const site::Sighting& sighting);
  /// Once, at the end.
  Separation finish();

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

/// Separates the stored cells of a selection. Errc: bad_usage (confidence), not_found, too_little,
/// and those of the store.
Result<Separation> separate(const schema::Store& store, const schema::Selection& which,
                            double confidence = 0.95);

}  // namespace roundel::trial
