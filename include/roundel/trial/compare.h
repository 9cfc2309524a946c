// Which of two antennas is better, by how many dB, and where.
#pragma once
#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "roundel/pattern/reach.h"
#include "roundel/result.h"
#include "roundel/schema/rows.h"
#include "roundel/schema/store.h"
#include "roundel/site/sightline.h"

namespace roundel::pattern {
struct HourExposure;
}

namespace roundel::trial {

/// A stretch of feed time, half-open, seconds.
struct Interval {
  std::int64_t from_s{}, to_s{};
  std::int64_t length_s() const { return to_s - from_s; }
};

/// One trial's share in a selection, and when it was really being recorded.
struct TrialPart {
  schema::Trial trial;
  std::vector<Interval> recorded;  ///< in order, apart
};

/// One of the two that are compared.
struct CompareSide {
  std::string name;  ///< as a person would say it: "collinear", "rx1", "trial 3"
  std::vector<TrialPart> parts;
};

struct CompareOptions {
  double sector_deg = 5;          ///< divides 360 evenly; [1, 45]
  double confidence = 0.95;       ///< of intervals; [0.5, 1)
  double false_discovery = 0.05;  ///< share of false ones among the sectors called significant
  bool from_summaries = false;    ///< whole hours from their summaries, for sectors of 5 degrees
};

enum class CompareMethod {
  paired,    ///< both on at once: same aircraft, same cell
  unpaired,  ///< one after the other
  mixed,     ///< paired where they overlap, unpaired elsewhere
};
std::string_view name_of(CompareMethod method);

/// What is compared: the first of these in which the sides differ throughout.
enum class Factor { antenna, rotation, receiver, mount, time };
std::string_view name_of(Factor factor);

/// One bearing's difference, a minus b.
struct CompareSector {
  double bearing_deg{};  ///< of the middle
  std::optional<double> difference_db, low_db, high_db;
  double p = 1;              ///< two-sided, of no difference
  bool significant = false;  ///< false discoveries controlled over all sectors
  int flights{};             ///< that say something on it; unpaired: of the side with fewer
};

/// Something besides what is compared that differs between the sides.
struct Confounder {
  std::string what;    ///< "receiver: collinear was on rx1, spider on rx2"
  std::string remedy;  ///< the step that would resolve it
};

/// Who heard flights first and last, of those that both could have heard.
struct FirstLast {
  std::int64_t a_first{}, b_first{}, same_first{};
  std::int64_t a_last{}, b_last{}, same_last{};
  std::int64_t a_only{}, b_only{};
  void operator+=(const FirstLast& more) {
    a_first += more.a_first, b_first += more.b_first, same_first += more.same_first;
    a_last += more.a_last, b_last += more.b_last, same_last += more.same_last;
    a_only += more.a_only, b_only += more.b_only;
  }
};

enum class CompareAnswer { a_better, b_better, no_difference, mixed_bearings, undecided };
std::string_view name_of(CompareAnswer answer);

struct Comparison {
  CompareOptions options;
  CompareMethod method = CompareMethod::unpaired;
  Factor factor = Factor::antenna;
  std::string name_a, name_b;
  CompareAnswer answer = CompareAnswer::undecided;
  /// Mean over bearings, a minus b; none where too few bearings are known.
  struct Overall {
    double value_db{}, low_db{}, high_db{};
  };
  std::optional<Overall> difference;
  std::vector<CompareSector> sectors;
  std::vector<Confounder> confounded;
  /// First receiver (or mount) less the second, where they were swapped and so cancel.
  std::optional<Overall> swapped_offset;
  std::optional<pattern::Reach> reach_a, reach_b;
  FirstLast first_last;  ///< paired part only
  std::int64_t flights_a{}, flights_b{}, flights_paired{};
  std::int64_t cells_a{}, cells_b{}, cells_paired{};
  double hours_a{}, hours_b{}, hours_paired{};  ///< recorded
  double softness_db{};
};

/// Collects the cells of both sides in time order, or whole hours of what summaries keep of their
/// flights, then compares.
///
/// paired: for each flight and sector, a's and b's counts in the same cells are two binomials with
/// the same chances; p = pm logistic((level +- d/2) / w), d the sector's difference. The level,
/// common to both, is integrated out, so that the aircraft, its power and the weather cancel. A
/// cell that only one heard is a zero for the other, as long as the other was recording. w and pm
/// come from each side's own rate fit. The first and last cell of a contact are left out.
///
/// unpaired: difference of the two rate fits' gains (pattern/gain.h).
///
/// Errors: by flight (robust, leave-one-out leverage), Student's t by the sector's effective number
/// of flights. The overall difference is the mean over known bearings, weighted by precision where
/// the bearings do not differ, evenly where they do (DerSimonian and Laird's between-variance,
/// 1986, Controlled Clin. Trials 7:177; from memory). Receivers or mounts swapped half-way cancel:
/// mirrored halves count the same.
class CompareBuilder {
 public:
  /// The viewpoint must outlive the builder.
  CompareBuilder(const site::Viewpoint& viewpoint, CompareSide a, CompareSide b,
                 const CompareOptions& options);
  CompareBuilder(CompareBuilder&&) noexcept;
  CompareBuilder& operator=(CompareBuilder&&) noexcept;
  ~CompareBuilder();

  /// In order of window. flight.trial says whose cell it is; of neither side: ignored.
  void add(const schema::Cell& cell, const schema::Flight& flight);
  /// The same where its sightline is known already.
  void add(const schema::Cell& cell, const schema::Flight& flight, const site::Sighting& sighting);
  /// A whole hour of a trial, all of it recorded and within one stretch of what both sides
  /// recorded, or outside all; by the same sectors (analysis/pattern/hour_exposure.h). In order of
  /// time; not where cells of the hour are added, on either side.
  void add(schema::Id trial, pattern::HourExposure hour);
  /// Puts a side's hours of so far together, which otherwise waits until the end. May run beside
  /// the adding of hours, and of the other side; 0: a, 1: b.
  void settle(std::size_t side);
  /// When sides begin and end recording, and overlaps: hours that hold one are not whole.
  std::vector<std::int64_t> edges_s() const;
  /// Once, at the end. Reach is left to the caller.
  Comparison finish();

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

/// What makes a comparison senseless: the same cells on both sides, two trials of one side at the
/// same time, two antennas or rotations mixed on one side. Errc::bad_usage, one line.
Result<void> check_sides(const CompareSide& a, const CompareSide& b);

/// What else differs between the sides, and how to resolve it.
std::vector<Confounder> confounders(const CompareSide& a, const CompareSide& b, Factor factor);
Factor compared_factor(const CompareSide& a, const CompareSide& b);

/// Compares the stored cells of two selections. Errc: bad_usage (see check_sides), not_found (a
/// name; no site), too_little (a side without flights), and those of the store.
Result<Comparison> compare(const schema::Store& store, const schema::Selection& a,
                           const schema::Selection& b, const CompareOptions& options);

/// The trials of a selection as a side; `label` is used in errors ("--a").
Result<CompareSide> side_of(const schema::Store& store, const schema::Selection& which,
                            std::string_view label);

}  // namespace roundel::trial
