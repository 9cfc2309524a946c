// Keeps labels from overlapping.
#pragma once
#include <string>
#include <string_view>
#include <vector>

namespace roundel::present {

/// Width of a text in the pictures' font, estimated from above: fonts of the stack differ by a
/// tenth, DejaVu Sans is the widest.
double text_width(std::string_view text, double size);
/// The same for sentences, whose letters are narrower than digits.
double prose_width(std::string_view text, double size);

class LabelPlacer {
 public:
  /// Takes the place of a text centred on x, whose letters' middle is y; false, and nothing taken,
  /// if another is there.
  bool take(double x, double y, std::string_view text, double size);
  bool is_free(double x, double y, std::string_view text, double size) const;

 private:
  struct Box {
    double left, right, top, bottom;
  };
  static Box box(double x, double y, std::string_view text, double size);
  std::vector<Box> taken_;
};

}  // namespace roundel::present
