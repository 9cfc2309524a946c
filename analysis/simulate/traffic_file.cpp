// Traffic from a recorded file of positions.
#include <fmt/format.h>
#include <zlib.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <map>
#include <memory>
#include <string_view>

#include "analysis/simulate/numeric.h"
#include "analysis/simulate/traffic.h"

namespace roundel::simulate {
namespace {

constexpr double longest_gap_s = 300;
/// An aircraft that comes back sooner would count as one that was silent meanwhile. Nothing is
/// known of it but that the file has a gap: what follows counts as another aircraft.
constexpr double new_flight_s = 2000;
constexpr double farthest_km = 600;

struct Fix {
  double time_s{};
  std::uint32_t address{};
  Position position;
  double altitude_ft{};
};

/// Reads plain and compressed files alike.
Result<std::string> content_of(const std::filesystem::path& file) {
  struct Close {
    void operator()(gzFile_s* f) const noexcept { gzclose(f); }
  };
  const std::unique_ptr<gzFile_s, Close> in(gzopen(file.c_str(), "rb"));
  if (!in) return fail(Errc::not_found, "cannot read the traffic file", file.string());
  std::string text, block(1 << 20, '\0');
  int n;
  while ((n = gzread(in.get(), block.data(), static_cast<unsigned>(block.size()))) > 0)
    text.append(block.data(), static_cast<std::size_t>(n));
  if (n < 0) return fail(Errc::io, "cannot decompress the traffic file", file.string());
  return text;
}

bool take_field(std::string_view& line, std::string_view& field) {
  if (line.data() == nullptr) return false;
  const auto comma = line.find(',');
  field = line.substr(0, comma);
  line = comma == std::string_view::npos ? std::string_view() : line.substr(comma + 1);
  return true;
}

bool read_number(std::string_view text, double& value) {
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  return error == std::errc() && end == text.data() + text.size() && std::isfinite(value);
}

bool read_fix(std::string_view line, Fix& fix) {
  std::string_view time, address, latitude, longitude, altitude;
  if (!take_field(line, time) || !take_field(line, address) || !take_field(line, latitude) ||
      !take_field(line, longitude) || !take_field(line, altitude) || line.data() != nullptr)
    return false;
  const auto [end, error] =
      std::from_chars(address.data(), address.data() + address.size(), fix.address, 16);
  return error == std::errc() && end == address.data() + address.size() &&
         fix.address <= 0xFFFFFF && read_number(time, fix.time_s) &&
         read_number(latitude, fix.position.latitude_deg) &&
         std::fabs(fix.position.latitude_deg) <= 90 &&
         read_number(longitude, fix.position.longitude_deg) &&
         std::fabs(fix.position.longitude_deg) <= 180 && read_number(altitude, fix.altitude_ft);
}

Result<std::vector<Fix>> read(const std::filesystem::path& file) {
  auto text = content_of(file);
  if (!text) return tl::unexpected(text.error());
  std::vector<Fix> fixes;
  std::string_view rest = *text;
  for (int number = 1; !rest.empty(); ++number) {
    const auto end = rest.find('\n');
    std::string_view line = rest.substr(0, end);
    rest = end == std::string_view::npos ? std::string_view() : rest.substr(end + 1);
    if (!line.empty() && line.back() == '\r') line.remove_suffix(1);
    constexpr std::string_view header = "time_s,address,latitude,longitude,altitude_ft";
    if (number == 1 ? line != header : (!line.empty() && !read_fix(line, fixes.emplace_back())))
      return fail(Errc::malformed, number == 1 ? "not a traffic file" : "not a position",
                  fmt::format("{}:{}", file.string(), number),
                  fmt::format("lines must be {}", header));
  }
  if (fixes.empty()) return fail(Errc::too_little, "holds no position", file.string());
  return fixes;
}

class FileTraffic final : public TrafficSource {
 public:
  explicit FileTraffic(std::vector<Track> tracks) : tracks_(std::move(tracks)) {}
  void starting_before(double time_s, std::vector<Track>& out) override {
    while (next_ < tracks_.size() && tracks_[next_].first_s() < time_s)
      out.push_back(std::move(tracks_[next_++]));
  }

 private:
  std::vector<Track> tracks_;
  std::size_t next_ = 0;
};

}  // namespace

Result<std::unique_ptr<TrafficSource>> file_traffic(const Scenario& scenario, const Plane& plane) {
  auto fixes = read(*scenario.traffic.file);
  if (!fixes) return tl::unexpected(fixes.error());
  std::stable_sort(fixes->begin(), fixes->end(), [](const Fix& a, const Fix& b) {
    return std::pair(a.address, a.time_s) < std::pair(b.address, b.time_s);
  });
  double earliest_s = fixes->front().time_s;
  for (const Fix& fix : *fixes) earliest_s = std::min(earliest_s, fix.time_s);
  const double shift_s = scenario.start_s - std::floor(earliest_s / 3600) * 3600;

  std::vector<Track> tracks;
  Track track;
  const auto finish = [&] {
    if (track.way.size() >= 2) tracks.push_back(track);
    track.way.clear();
  };
  for (const Fix& fix : *fixes) {
    const double time_s = fix.time_s + shift_s;
    if (!track.way.empty() &&
        (fix.address != track.address || time_s - track.last_s() > longest_gap_s))
      finish();
    const Place place = plane.place(fix.position);
    if (std::hypot(place.x_km, place.y_km) > farthest_km) {
      finish();
      continue;
    }
    if (!track.way.empty() && time_s <= track.last_s()) continue;
    track.address = fix.address;
    track.way.push_back({time_s, place, fix.altitude_ft, 0});
  }
  finish();
  std::stable_sort(tracks.begin(), tracks.end(),
                   [](const Track& a, const Track& b) { return a.first_s() < b.first_s(); });
  std::map<std::uint32_t, double> last_seen_s;  // by airframe
  for (std::size_t i = 0; i < tracks.size(); ++i) {
    Track& flown = tracks[i];
    flown.serial = i;
    const auto [before, is_first] = last_seen_s.try_emplace(flown.address, flown.last_s());
    const bool is_resumed = !is_first && flown.first_s() - before->second < new_flight_s;
    before->second = flown.last_s();
    if (is_resumed) flown.address = nth_address(scenario.seed, i);
    // One airframe's flights share its power.
    give_character(scenario, flown.address, false, {}, flown);
  }
  return std::make_unique<FileTraffic>(std::move(tracks));
}

}  // namespace roundel::simulate
