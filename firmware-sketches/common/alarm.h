// Says a lasting trouble once, not with every sample.
#pragma once
#include <stdint.h>

namespace throwbook {

class Alarm {
 public:
  // True on the first bad reading. Armed again only after `good_to_rearm` good ones in a row.
  bool rises(bool bad, uint16_t good_to_rearm) {
    if (bad) {
      const bool first = !raised_;
      raised_ = true;
      good_ = 0;
      return first;
    }
    if (raised_ && ++good_ >= good_to_rearm) raised_ = false;
    return false;
  }

  void rearm() { raised_ = false; }

 private:
  bool raised_ = false;
  uint16_t good_ = 0;
};

}  // namespace throwbook
