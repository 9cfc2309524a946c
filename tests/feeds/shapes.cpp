#include "tests/feeds/shapes.h"

#include <fmt/format.h>

#include <algorithm>
#include <map>

#include "roundel/time.h"

namespace roundel::feed {
namespace {

using Print = std::function<std::string(const Fix&)>;

std::vector<std::string> each_line(const Print& print) {
  std::vector<std::string> lines;
  for (const Fix& fix : gallery_fixes()) lines.push_back(print(fix));
  return lines;
}

// The fixes of each whole second, one document.
std::vector<std::string> documents(
    const std::function<std::string(double now_s, const std::string& elements)>& wrap,
    const Print& element) {
  std::map<double, std::string> by_second;
  for (const Fix& fix : gallery_fixes()) {
    std::string& list = by_second[std::floor(fix.time_s) + 1];
    list += (list.empty() ? "" : ",") + element(fix);
  }
  std::vector<std::string> lines;
  for (const auto& [now_s, list] : by_second) lines.push_back(wrap(now_s, list));
  return lines;
}

// All aircraft each second with the last that is known of each, as a page would ask for.
std::vector<std::string> snapshots(
    const std::function<std::string(double now_s, const std::string& elements)>& wrap,
    const std::function<std::string(const Fix&, double age_s)>& element) {
  std::map<std::uint32_t, Fix> latest;
  std::vector<std::string> lines;
  double next_s = gallery_fixes().front().time_s + 1;
  for (const Fix& fix : gallery_fixes()) {
    if (fix.time_s > next_s) {
      std::string list;
      for (const auto& [address, known] : latest)
        list += (list.empty() ? "" : ",") + element(known, next_s - known.time_s);
      lines.push_back(wrap(next_s, list));
      next_s += 1;
    }
    latest[fix.address] = fix;
  }
  return lines;
}

std::string commas(std::string text) {
  std::replace(text.begin(), text.end(), '.', ',');
  return text;
}
std::string date(double time_s) { return format_time(time_s).substr(0, 10); }
std::string clock(double time_s) {
  return format_time(time_s).substr(11, 8) +
         fmt::format(".{:03}", static_cast<int>(std::fmod(time_s, 1) * 1000));
}

std::vector<std::string> pretty(const std::vector<std::string>& documents) {
  std::vector<std::string> lines;
  for (const std::string& document : documents) {
    std::string line;
    for (const char c : document) {
      if (c == '}' || c == ']') lines.push_back(std::exchange(line, {}));
      line += c;
      if (c == '{' || c == '[' || c == ',') lines.push_back(std::exchange(line, {}));
    }
    lines.push_back(line);
  }
  std::erase(lines, "");
  return lines;
}

}  // namespace

std::vector<Fix> gallery_fixes() {
  std::vector<Fix> fixes;
  traffic_lines({.n_aircraft = 15, .n_fixes = 900, .spacing_s = 0.05}, [&](const Fix& fix) {
    fixes.push_back(fix);
    return std::string();
  });
  return fixes;
}

std::vector<Shape> shapes() {
  std::vector<Shape> out;
  const auto object = [](const Fix& f) {
    return fmt::format(R"({{"plane":"{:06x}","north":{:.5f},"east":{:.5f},"up":{}}})", f.address,
                       f.latitude_deg, f.longitude_deg, f.altitude_ft);
  };
  const auto in_document = [](double now_s, const std::string& list) {
    return fmt::format(R"({{"now":{:.1f},"station":{{"north":52.1,"east":19.4}},"seen":[{}]}})",
                       now_s, list);
  };
  const std::string object_fields =
      "address = \"/plane\"\nlatitude = \"/north\"\nlongitude = \"/east\"\n";

  out.push_back({"a document of many aircraft a line, with the time outside",
                 documents(in_document, object),
                 "kind = \"ndjson\"\neach = \"/seen\"\n" + object_fields +
                     "time = { outside = \"/now\" }\naltitude_ft = \"/up\"\n",
                 ""});
  out.push_back({"a document that is an array of arrays",
                 documents([](double, const std::string& list) { return "[" + list + "]"; },
                           [](const Fix& f) {
                             return fmt::format(R"(["{:06X}",{:.5f},{:.5f},{},{:.2f}])", f.address,
                                                f.latitude_deg, f.longitude_deg, f.altitude_ft,
                                                f.time_s);
                           }),
                 "kind = \"ndjson\"\neach = \"\"\naddress = \"/0\"\nlatitude = \"/1\"\n"
                 "longitude = \"/2\"\ntime = \"/4\"\naltitude_ft = \"/3\"\n",
                 ""});
  out.push_back({"snapshots with the age of each position, and of each message",
                 snapshots(in_document,
                           [](const Fix& f, double age_s) {
                             return fmt::format(
                                 R"({{"plane":"{:06x}","north":{:.5f},"east":{:.5f},"up":{},)"
                                 R"("fix_age":{:.1f},"any_age":{:.1f}}})",
                                 f.address, f.latitude_deg, f.longitude_deg,
                                 f.on_ground ? "\"ground\"" : fmt::format("{}", f.altitude_ft),
                                 age_s, std::fmod(age_s, 0.7));
                           }),
                 "kind = \"ndjson\"\neach = \"/seen\"\n" + object_fields +
                     "time = { outside = \"/now\" }\nage_s = \"/fix_age\"\naltitude_ft = \"/up\"\n",
                 "", false});
  out.push_back({"flags that list computed fields", each_line([](const Fix& f) {
                   return fmt::format(
                       R"({{"t":{:.2f},"plane":"{:06x}","north":{:.5f},"east":{:.5f},"up":{},)"
                       R"("computed":[{}]}})",
                       f.time_s, f.address, f.latitude_deg, f.longitude_deg, f.altitude_ft,
                       f.address % 5 == 0 ? R"("north","east","speed")"
                       : f.n % 2 == 0     ? R"("speed")"
                                          : "");
                 }),
                 "kind = \"ndjson\"\n" + object_fields +
                     "time = \"/t\"\naltitude_ft = \"/up\"\n"
                     "keep = [{ pointer = \"/computed\", lacks = [\"east\", \"north\"] }]\n",
                 "/computed lists fields by name, the position's among them", false});
  out.push_back({"a mark on some lines that they came over a network", each_line([](const Fix& f) {
                   return fmt::format(
                       R"({{"t":{:.2f},"plane":"{:06x}","north":{:.5f},"east":{:.5f},"up":{}{}}})",
                       f.time_s, f.address, f.latitude_deg, f.longitude_deg, f.altitude_ft,
                       f.address % 5 == 0 ? R"(,"network":"x1")" : "");
                 }),
                 "kind = \"ndjson\"\n" + object_fields +
                     "time = \"/t\"\naltitude_ft = \"/up\"\n"
                     "keep = [{ pointer = \"/network\", absent = true }]\n",
                 "/network seems to mark positions that were computed", false});
  out.push_back({"addresses that were made up on the ground among others",
                 each_line([](const Fix& f) {
                   return fmt::format("{:.2f},{}{:06x},{:.5f},{:.5f},{}", f.time_s,
                                      f.address % 5 == 0 ? "~" : "", f.address, f.latitude_deg,
                                      f.longitude_deg, f.altitude_ft);
                 }),
                 "kind = \"columns\"\ndelimiter = \",\"\naddress = 2\nlatitude = 3\nlongitude = 4\n"
                 "time = 1\naltitude_ft = 5\n",
                 "which are no 24-bit ones", false});
  const std::string pair_fields =
      "address = \"plane\"\nlatitude = \"north\"\nlongitude = \"east\"\n"
      "time = \"when\"\naltitude_ft = \"up\"\n";
  const auto pairs = [](const Fix& f, std::string_view delimiter, std::string_view between) {
    std::vector<std::string> parts{fmt::format("plane{}{:06x}", between, f.address),
                                   fmt::format("north{}{:.5f}", between, f.latitude_deg),
                                   fmt::format("east{}{:.5f}", between, f.longitude_deg),
                                   fmt::format("up{}{}", between, f.altitude_ft),
                                   fmt::format("when{}{:.2f}", between, f.time_s)};
    if (f.n % 3 == 0) parts.push_back(fmt::format("speed{}{:.1f}", between, f.speed_kn));
    std::rotate(parts.begin(), parts.begin() + f.n % 5, parts.end());
    return fmt::format("{}", fmt::join(parts, delimiter));
  };
  out.push_back({"pairs in any order, with spaces",
                 each_line([&](const Fix& f) { return pairs(f, " ", "="); }),
                 "kind = \"pairs\"\ndelimiter = \" \"\n" + pair_fields, ""});
  out.push_back({"keys and values by turns, in any order, with tabs",
                 each_line([&](const Fix& f) { return pairs(f, "\t", "\t"); }),
                 "kind = \"pairs\"\ndelimiter = \"\\t\"\nbetween = \"\\t\"\n" + pair_fields, ""});
  out.push_back({"decimal commas, and date and time of day apart", each_line([](const Fix& f) {
                   return fmt::format(
                       "{};{};{:06X};{};{}", date(f.time_s), clock(f.time_s), f.address,
                       commas(fmt::format("{:.5f};{:.5f}", f.latitude_deg, f.longitude_deg)),
                       f.altitude_ft);
                 }),
                 "kind = \"columns\"\ndelimiter = \";\"\ndecimal = \",\"\naddress = 3\n"
                 "latitude = 4\nlongitude = 5\ndate = 1\ntime = 2\nzone = \"UTC\"\n"
                 "altitude_ft = 6\n",
                 "the times lack their offset from UTC"});
  out.push_back({"times without an offset", each_line([](const Fix& f) {
                   return fmt::format("{} {},{:06x},{:.5f},{:.5f},{}", date(f.time_s),
                                      clock(f.time_s), f.address, f.latitude_deg, f.longitude_deg,
                                      f.altitude_ft);
                 }),
                 "kind = \"columns\"\ndelimiter = \",\"\naddress = 2\nlatitude = 3\nlongitude = 4\n"
                 "time = 1\nzone = \"UTC\"\naltitude_ft = 5\n",
                 "the times lack their offset from UTC"});
  out.push_back({"addresses as whole numbers, without a telling name", each_line([](const Fix& f) {
                   return fmt::format(R"({{"a":{},"b":{:.5f},"c":{:.5f},"d":{},"e":{:.2f}}})",
                                      f.address, f.latitude_deg, f.longitude_deg, f.altitude_ft,
                                      f.time_s);
                 }),
                 "kind = \"ndjson\"\naddress = \"/a\"\nlatitude = \"/b\"\nlongitude = \"/c\"\n"
                 "time = \"/e\"\naltitude_ft = \"/d\"\n",
                 "could each be the latitude"});
  out.push_back({"documents written over several lines", pretty(documents(in_document, object)), "",
                 "written over several lines"});
  std::string joined;
  for (const std::string& line : each_line(object)) joined += line;
  out.push_back({"documents without anything between",
                 {joined},
                 "",
                 "several JSON documents stand on one line"});
  return out;
}

}  // namespace roundel::feed
