/* A disk that fails, for a program that is loaded with it (LD_PRELOAD): glibc's calls are passed on until it is time.
 * DISK_UNDER  only files below this folder are concerned
 * DISK_CALLS  calls that fail, comma-separated: write, read, fsync, ftruncate, rename, open
 * DISK_ERROR  number of the error
 * DISK_AFTER  how much still works: bytes for read and write, else calls
 * DISK_DIE_AT n = the process dies at the n-th rename below the folder; DISK_DIE = before or after it
 * DISK_COUNT  a file to which each rename adds one byte */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdarg.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/uio.h>
#include <unistd.h>

static atomic_llong spent;
static atomic_int renames;

#define REAL(name) ((__typeof__(name) *)dlsym(RTLD_NEXT, #name))

static int is_under(const char *path) {
  const char *under = getenv("DISK_UNDER");
  char whole[PATH_MAX];
  if (!under || !path) return 0;
  if (path[0] != '/' && realpath(path, whole)) path = whole;
  return !strncmp(path, under, strlen(under));
}

static int is_under_fd(int fd) {
  char link[64], path[PATH_MAX];
  snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
  ssize_t length = readlink(link, path, sizeof path - 1);
  if (length < 0) return 0;
  path[length] = 0;
  return is_under(path);
}

/* How many of the wanted units still work; all of them where this call never fails. */
static long long granted(const char *call, long long wanted) {
  const char *calls = getenv("DISK_CALLS"), *after = getenv("DISK_AFTER");
  if (!calls || !strstr(calls, call)) return wanted;
  const long long left = (after ? atoll(after) : 0) - atomic_fetch_add(&spent, wanted);
  return left >= wanted ? wanted : left > 0 ? left : 0;
}

static int fail(void) {
  errno = atoi(getenv("DISK_ERROR"));
  return -1;
}

/* As a real disk does it: what still fits is written, and only the next write fails. */
#define MOVE(name, call, signature, passed)                                        \
  ssize_t name signature {                                                         \
    if (count == 0 || !is_under_fd(fd)) return REAL(name) passed;                  \
    const size_t left = granted(call, count);                                      \
    if (left == 0) return fail();                                                  \
    count = left;                                                                  \
    return REAL(name) passed;                                                      \
  }
MOVE(write, "write", (int fd, const void *bytes, size_t count), (fd, bytes, count))
MOVE(pwrite, "write", (int fd, const void *bytes, size_t count, off_t at), (fd, bytes, count, at))
MOVE(pwrite64, "write", (int fd, const void *bytes, size_t count, off64_t at), (fd, bytes, count, at))
MOVE(read, "read", (int fd, void *bytes, size_t count), (fd, bytes, count))
MOVE(pread, "read", (int fd, void *bytes, size_t count, off_t at), (fd, bytes, count, at))
MOVE(pread64, "read", (int fd, void *bytes, size_t count, off64_t at), (fd, bytes, count, at))

#define WHOLE(name, call, signature, passed, concerned)                            \
  int name signature {                                                             \
    if ((concerned) && granted(call, 1) == 0) return fail();                       \
    return REAL(name) passed;                                                      \
  }
WHOLE(fsync, "fsync", (int fd), (fd), is_under_fd(fd))
WHOLE(fdatasync, "fsync", (int fd), (fd), is_under_fd(fd))
WHOLE(ftruncate, "ftruncate", (int fd, off_t length), (fd, length), is_under_fd(fd))
WHOLE(ftruncate64, "ftruncate", (int fd, off64_t length), (fd, length), is_under_fd(fd))

int rename(const char *from, const char *to) {
  if (!is_under(to)) return REAL(rename)(from, to);
  const char *at = getenv("DISK_DIE_AT"), *when = getenv("DISK_DIE"), *count = getenv("DISK_COUNT");
  const int is_last = at && atomic_fetch_add(&renames, 1) + 1 == atoi(at);
  if (is_last && !strcmp(when, "before")) _exit(86);
  if (granted("rename", 1) == 0) return fail();
  const int result = REAL(rename)(from, to);
  if (is_last) _exit(86);
  if (count) {
    const int fd = open(count, O_WRONLY | O_APPEND | O_CREAT, 0644);
    if (fd < 0 || REAL(write)(fd, ".", 1) != 1) abort();
    close(fd);
  }
  return result;
}
