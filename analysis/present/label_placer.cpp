#include "analysis/present/label_placer.h"

#include <algorithm>

namespace roundel::present {

double text_width(std::string_view text, double size) {
  // Characters, not bytes: UTF-8 continuation bytes are 10xxxxxx.
  const auto n = std::count_if(text.begin(), text.end(), [](char byte) {
    return (static_cast<unsigned char>(byte) & 0xc0) != 0x80;
  });
  return static_cast<double>(n) * size * 0.64;  // DejaVu Sans: a digit is 0.636 em wide
}

double prose_width(std::string_view text, double size) {
  return text_width(text, size) * 0.56 / 0.64;
}

LabelPlacer::Box LabelPlacer::box(double x, double y, std::string_view text, double size) {
  const double half = text_width(text, size) / 2 + 3;
  return {x - half, x + half, y - 0.6 * size, y + 0.6 * size};
}

bool LabelPlacer::is_free(double x, double y, std::string_view text, double size) const {
  const Box mine = box(x, y, text, size);
  return std::none_of(taken_.begin(), taken_.end(), [&](const Box& other) {
    return mine.left < other.right && other.left < mine.right && mine.top < other.bottom &&
           other.top < mine.bottom;
  });
}

bool LabelPlacer::take(double x, double y, std::string_view text, double size) {
  if (!is_free(x, y, text, size)) return false;
  taken_.push_back(box(x, y, text, size));
  return true;
}

}  // namespace roundel::present
