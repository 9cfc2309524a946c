// Invented traffic for the guesser: aircraft on straight tracks over a spherical Earth, printed in
// whatever shape a test asks for. Seeded, so that each run sees the same.
#pragma once
#include <cmath>
#include <functional>
#include <numbers>
#include <random>
#include <string>
#include <vector>

namespace roundel::feed {

struct Fix {
  int n;  ///< number of the line, from 0
  double time_s;
  std::uint32_t address;
  double latitude_deg, longitude_deg;
  int altitude_ft;  ///< a multiple of 25
  double track_deg, speed_kn, signal_dbfs;
  bool on_ground;
};

struct TrafficOptions {
  double latitude_deg = 52.1, longitude_deg = 19.4;  ///< of the middle
  int n_aircraft = 12, n_fixes = 400;
  double spacing_s = 0.25;  ///< between lines
  int n_on_ground = 0;      ///< of the aircraft
  unsigned seed = 1;
};

/// Lines in order of time, aircraft taking turns at random.
inline std::vector<std::string> traffic_lines(const TrafficOptions& options,
                                              const std::function<std::string(const Fix&)>& print) {
  std::mt19937 random(options.seed);
  const auto uniform = [&](double low, double high) {
    return low + (high - low) * static_cast<double>(random() - random.min()) /
                     static_cast<double>(random.max() - random.min());
  };
  struct Aircraft {
    std::uint32_t address;
    double north_km, east_km, track_deg, speed_kn, altitude_ft, climb_ft_s, signal_dbfs;
  };
  std::vector<Aircraft> fleet;
  for (int i = 0; i < options.n_aircraft; ++i) {
    const bool ground = i < options.n_on_ground;
    fleet.push_back({static_cast<std::uint32_t>(uniform(0x4b0000, 0x4effff)), uniform(-150, 150),
                     uniform(-150, 150), uniform(0, 360),
                     ground ? uniform(5, 20) : uniform(250, 480),
                     ground ? 400 : std::round(uniform(5000, 39000) / 25) * 25,
                     i % 3 == 0 && !ground ? uniform(-30, 30) : 0, uniform(-32, -4)});
  }
  std::vector<std::string> lines;
  for (int n = 0; n < options.n_fixes; ++n) {
    const double t_s = n * options.spacing_s;
    const std::size_t who = random() % fleet.size();
    const Aircraft& aircraft = fleet[who];
    constexpr double rad = std::numbers::pi / 180, km_per_deg = 6371.0 * rad;
    const double along_km = aircraft.speed_kn * 1.852 / 3600 * t_s;
    const double north_km = aircraft.north_km + along_km * std::cos(aircraft.track_deg * rad);
    const double east_km = aircraft.east_km + along_km * std::sin(aircraft.track_deg * rad);
    Fix fix{};
    fix.n = n;
    fix.time_s = 1764000000 + t_s;
    fix.address = aircraft.address;
    fix.latitude_deg = options.latitude_deg + north_km / km_per_deg;
    fix.longitude_deg =
        options.longitude_deg + east_km / (km_per_deg * std::cos(options.latitude_deg * rad));
    fix.altitude_ft =
        static_cast<int>(std::round((aircraft.altitude_ft + aircraft.climb_ft_s * t_s) / 25) * 25);
    fix.track_deg = aircraft.track_deg;
    fix.speed_kn = aircraft.speed_kn;
    fix.signal_dbfs = aircraft.signal_dbfs + uniform(-1.5, 1.5);
    fix.on_ground = who < static_cast<std::size_t>(options.n_on_ground);
    lines.push_back(print(fix));
  }
  return lines;
}

}  // namespace roundel::feed
