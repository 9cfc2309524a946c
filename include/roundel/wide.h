// ROUNDEL_WIDE before a function: a second version of it for wider registers, picked when the
// program starts. It rounds alike: what would not, fused multiply-add, is left out. (Sanitizers run
// before that choice is made.)
#pragma once
#if defined(__x86_64__) && defined(__GNUC__) && !defined(__clang__) && \
    !defined(__SANITIZE_THREAD__) && !defined(__SANITIZE_ADDRESS__)
#define ROUNDEL_WIDE __attribute__((target_clones("avx2", "default")))
#else
#define ROUNDEL_WIDE
#endif
