/* A library loaded before libc that makes the n-th file-changing call of a command fail.

   Calls are counted over every process the command starts (git, ssh-keygen),
   in one shared page, so that point n is the same moment in every run; a tracer
   that counts each process by itself cannot say that. What the C library writes
   through its own buffers (fprintf) is not seen; creating, renaming and syncing
   those files is.

   how: 0 count only, 1 kill everything (half of a write is done first),
   2 the disk is full once, 3 full for ever, 4 a sync fails.
   With `log` set, every call that succeeded is recorded with its bytes, in order. */

#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <pthread.h>
#include <limits.h>
#include <signal.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <sys/uio.h>
#include <unistd.h>

#define PIDS 400

struct page {
    int64_t at;      /* the call to fail, from 1 */
    int64_t how;
    int64_t count;   /* calls so far */
    int64_t hit;     /* the kind of the failed call, 0: none */
    int64_t armed;
    int64_t log;
    int64_t lock;
    int64_t pids;
    int64_t pid[PIDS];
};

enum kind { OPEN = 1, WRITE, RENAME, LINK, UNLINK, MKDIR, RMDIR, TRUNCATE, SYNC, SYMLINK };

static struct page *page;
static int log_fd = -1;

static void enlist(void) {
    if (!page) return;
    int64_t n = __atomic_fetch_add(&page->pids, 1, __ATOMIC_SEQ_CST);
    if (n < PIDS) page->pid[n] = getpid();
}

__attribute__((constructor)) static void begin(void) {
    const char *path = getenv("SPECCTL_TEST_FAULTS");
    if (!path) return;
    int fd = syscall(SYS_openat, AT_FDCWD, path, O_RDWR | O_CLOEXEC, 0);
    if (fd < 0) return;
    void *at = mmap(NULL, sizeof(struct page), PROT_READ | PROT_WRITE, MAP_SHARED, fd, 0);
    syscall(SYS_close, fd);
    if (at == MAP_FAILED) return;
    page = at;
    enlist();
    pthread_atfork(NULL, NULL, enlist);
}

static void log_open(void) {
    if (log_fd >= 0 || !page->log) return;
    char path[PATH_MAX];
    snprintf(path, sizeof path, "%s.log", getenv("SPECCTL_TEST_FAULTS"));
    int fd = syscall(SYS_openat, AT_FDCWD, path, O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0644);
    if (fd < 0) return;
    log_fd = fcntl(fd, F_DUPFD_CLOEXEC, 500);
    syscall(SYS_close, fd);
}

static void hold(void) {
    while (__atomic_exchange_n(&page->lock, 1, __ATOMIC_SEQ_CST)) syscall(SYS_sched_yield);
}

static void loose(void) { __atomic_store_n(&page->lock, 0, __ATOMIC_SEQ_CST); }

static void absolute(int dir, const char *path, char *out) {
    char here[PATH_MAX] = "", link[64];
    if (path && path[0] == '/') { snprintf(out, PATH_MAX, "%s", path); return; }
    if (dir == AT_FDCWD) {
        if (syscall(SYS_getcwd, here, sizeof here) < 0) here[0] = 0;
    } else {
        snprintf(link, sizeof link, "/proc/self/fd/%d", dir);
        ssize_t n = syscall(SYS_readlinkat, AT_FDCWD, link, here, sizeof here - 1);
        here[n > 0 ? n : 0] = 0;
    }
    if (path && path[0]) snprintf(out, PATH_MAX, "%.2000s/%.2000s", here, path);
    else snprintf(out, PATH_MAX, "%s", here);
}

static void record(enum kind kind, const char *one, const char *two, int64_t offset, const void *data, uint32_t length) {
    log_open();
    if (log_fd < 0) return;
    uint32_t head[4] = {kind, strlen(one), two ? strlen(two) : 0, length};
    struct iovec parts[5] = {{head, sizeof head}, {&offset, 8}, {(void *)one, head[1]}, {(void *)(two ? two : ""), head[2]}, {(void *)data, length}};
    syscall(SYS_writev, log_fd, parts, 5);
}

/* A process number may be taken again by a stranger: only who carries our page is ended. */
static int ours(int64_t pid) {
    char path[64];
    static char words[1 << 17];
    snprintf(path, sizeof path, "/proc/%ld/environ", (long)pid);
    int fd = syscall(SYS_openat, AT_FDCWD, path, O_RDONLY | O_CLOEXEC, 0);
    if (fd < 0) return 0;
    ssize_t n = syscall(SYS_read, fd, words, sizeof words);
    syscall(SYS_close, fd);
    const char *mine = getenv("SPECCTL_TEST_FAULTS");
    return n > 0 && mine && memmem(words, n, mine, strlen(mine)) != NULL;
}

/* Whether this call fails, errno set; for a kill it does not return. Full disks fail what makes, a failing sync what syncs. */
static int fails(enum kind kind, int fd, const void *data, size_t length) {
    if (!page || !page->armed) return 0;
    int makes = kind != UNLINK && kind != RMDIR && kind != SYNC;
    if (page->how == 4 ? kind != SYNC : page->how > 1 && !makes) return 0;
    int64_t n = __atomic_add_fetch(&page->count, 1, __ATOMIC_SEQ_CST);
    if (!page->how || n < page->at || (n > page->at && page->how != 3)) return 0;
    if (n == page->at) page->hit = kind;
    if (page->how == 1) {
        if (kind == WRITE && length > 1) syscall(SYS_write, fd, data, length / 2);
        int64_t many = page->pids < PIDS ? page->pids : PIDS;
        for (int64_t i = 0; i < many; i++) if (page->pid[i] != getpid() && ours(page->pid[i])) syscall(SYS_kill, page->pid[i], SIGKILL);
        syscall(SYS_kill, getpid(), SIGKILL);
        for (;;) syscall(SYS_pause);
    }
    errno = page->how == 4 ? EIO : ENOSPC;
    return 1;
}

static int is_file(int fd) {
    struct stat s;
    return fd >= 0 && fd != log_fd && !fstat(fd, &s) && S_ISREG(s.st_mode);
}

static int logging(void) { return page && page->armed && page->log; }

#define REAL(name) static __typeof__(name) *real; if (!real) real = (__typeof__(name) *)dlsym(RTLD_NEXT, #name)
#define DONE(call, ...) do { int e_; if (logging()) { hold(); r = call; e_ = errno; if (r >= 0) { __VA_ARGS__; } loose(); errno = e_; } else r = call; } while (0)

static int opened(const char *name, int dir, const char *path, int flags, mode_t mode) {
    int r, makes = (flags & (O_CREAT | O_TRUNC)) && (flags & O_ACCMODE) != O_RDONLY && (strncmp(path, "/dev/", 5) || !strncmp(path, "/dev/shm/", 9));
    (void)name;
    if (makes && page && page->armed) {
        struct stat s;
        /* Opening what is there, without emptying it, changes nothing. */
        if (!(flags & O_TRUNC) && !fstatat(dir, path, &s, 0)) makes = 0;
    }
    if (makes && fails(OPEN, -1, NULL, 0)) return -1;
    if (!makes) return syscall(SYS_openat, dir, path, flags, mode);
    char full[PATH_MAX];
    DONE(syscall(SYS_openat, dir, path, flags, mode), absolute(dir, path, full); record(OPEN, full, NULL, flags & O_TRUNC ? 1 : 0, NULL, 0));
    return r;
}

#define MODE mode_t mode = 0; if (flags & (O_CREAT | O_TMPFILE)) { va_list v; va_start(v, flags); mode = va_arg(v, mode_t); va_end(v); }

int open(const char *path, int flags, ...) { MODE return opened("open", AT_FDCWD, path, flags, mode); }
int open64(const char *path, int flags, ...) { MODE return opened("open64", AT_FDCWD, path, flags | O_LARGEFILE, mode); }
int openat(int dir, const char *path, int flags, ...) { MODE return opened("openat", dir, path, flags, mode); }
int openat64(int dir, const char *path, int flags, ...) { MODE return opened("openat64", dir, path, flags | O_LARGEFILE, mode); }
int creat(const char *path, mode_t mode) { return opened("creat", AT_FDCWD, path, O_CREAT | O_WRONLY | O_TRUNC, mode); }
int creat64(const char *path, mode_t mode) { return creat(path, mode); }

static ssize_t written(int fd, const void *data, size_t length, int64_t at) {
    ssize_t r;
    if (!page || !page->armed || !is_file(fd)) return at < 0 ? syscall(SYS_write, fd, data, length) : syscall(SYS_pwrite64, fd, data, length, at);
    if (fails(WRITE, fd, data, length)) return -1;
    char full[PATH_MAX];
    int64_t from = at;
    if (logging() && at < 0) {
        struct stat s;
        from = fcntl(fd, F_GETFL) & O_APPEND && !fstat(fd, &s) ? s.st_size : (int64_t)lseek(fd, 0, SEEK_CUR);
    }
    DONE(at < 0 ? syscall(SYS_write, fd, data, length) : syscall(SYS_pwrite64, fd, data, length, at), absolute(fd, NULL, full); record(WRITE, full, NULL, from, data, r));
    return r;
}

ssize_t write(int fd, const void *data, size_t length) { return written(fd, data, length, -1); }
ssize_t pwrite(int fd, const void *data, size_t length, off_t at) { return written(fd, data, length, at); }
ssize_t pwrite64(int fd, const void *data, size_t length, off64_t at) { return written(fd, data, length, at); }

ssize_t writev(int fd, const struct iovec *parts, int many) {
    if (!page || !page->armed || !is_file(fd)) return syscall(SYS_writev, fd, parts, many);
    ssize_t sum = 0;
    for (int i = 0; i < many; i++) {
        ssize_t r = written(fd, parts[i].iov_base, parts[i].iov_len, -1);
        if (r < 0) return sum ? sum : -1;
        sum += r;
        if ((size_t)r < parts[i].iov_len) break;
    }
    return sum;
}

static int moved(enum kind kind, int d1, const char *one, int d2, const char *two, unsigned flags) {
    int r;
    char a[PATH_MAX], b[PATH_MAX];
    if (fails(kind, -1, NULL, 0)) return -1;
    DONE(kind == RENAME ? syscall(SYS_renameat2, d1, one, d2, two, flags) : syscall(SYS_linkat, d1, one, d2, two, flags),
         absolute(d1, one, a); absolute(d2, two, b); record(kind, a, b, 0, NULL, 0));
    return r;
}

int rename(const char *one, const char *two) { return moved(RENAME, AT_FDCWD, one, AT_FDCWD, two, 0); }
int renameat(int d1, const char *one, int d2, const char *two) { return moved(RENAME, d1, one, d2, two, 0); }
int renameat2(int d1, const char *one, int d2, const char *two, unsigned flags) { return moved(RENAME, d1, one, d2, two, flags); }
int link(const char *one, const char *two) { return moved(LINK, AT_FDCWD, one, AT_FDCWD, two, 0); }
int linkat(int d1, const char *one, int d2, const char *two, int flags) { return moved(LINK, d1, one, d2, two, flags); }

static int gone(int dir, const char *path, int flags) {
    int r;
    char full[PATH_MAX];
    enum kind kind = flags & AT_REMOVEDIR ? RMDIR : UNLINK;
    struct stat s;
    if (fstatat(dir, path, &s, AT_SYMLINK_NOFOLLOW)) return syscall(SYS_unlinkat, dir, path, flags);
    if (fails(kind, -1, NULL, 0)) return -1;
    DONE(syscall(SYS_unlinkat, dir, path, flags), absolute(dir, path, full); record(kind, full, NULL, 0, NULL, 0));
    return r;
}

int unlink(const char *path) { return gone(AT_FDCWD, path, 0); }
int unlinkat(int dir, const char *path, int flags) { return gone(dir, path, flags); }
int rmdir(const char *path) { return gone(AT_FDCWD, path, AT_REMOVEDIR); }
int remove(const char *path) {
    struct stat s;
    return gone(AT_FDCWD, path, !lstat(path, &s) && S_ISDIR(s.st_mode) ? AT_REMOVEDIR : 0);
}

int mkdirat(int dir, const char *path, mode_t mode) {
    int r;
    char full[PATH_MAX];
    struct stat s;
    if (!fstatat(dir, path, &s, 0)) { errno = EEXIST; return -1; }
    if (fails(MKDIR, -1, NULL, 0)) return -1;
    DONE(syscall(SYS_mkdirat, dir, path, mode), absolute(dir, path, full); record(MKDIR, full, NULL, 0, NULL, 0));
    return r;
}

int mkdir(const char *path, mode_t mode) { return mkdirat(AT_FDCWD, path, mode); }

/* The C library makes this folder by a call of its own that cannot be fronted. */
char *mkdtemp(char *template) {
    static const char letters[] = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ";
    char *end = template + strlen(template) - 6;
    for (int tries = 0; tries < 100; tries++) {
        unsigned char dice[6];
        if (syscall(SYS_getrandom, dice, sizeof dice, 0) != sizeof dice) return NULL;
        for (int i = 0; i < 6; i++) end[i] = letters[dice[i] % (sizeof letters - 1)];
        if (!mkdir(template, 0700)) return template;
        if (errno != EEXIST) return NULL;
    }
    return NULL;
}

int symlinkat(const char *to, int dir, const char *path) {
    int r;
    char full[PATH_MAX];
    if (fails(SYMLINK, -1, NULL, 0)) return -1;
    DONE(syscall(SYS_symlinkat, to, dir, path), absolute(dir, path, full); record(SYMLINK, to, full, 0, NULL, 0));
    return r;
}

int symlink(const char *to, const char *path) { return symlinkat(to, AT_FDCWD, path); }

static int cut(int fd, off_t length) {
    int r;
    char full[PATH_MAX];
    if (fails(TRUNCATE, -1, NULL, 0)) return -1;
    DONE(syscall(SYS_ftruncate, fd, length), absolute(fd, NULL, full); record(TRUNCATE, full, NULL, length, NULL, 0));
    return r;
}

int ftruncate(int fd, off_t length) { return cut(fd, length); }
int ftruncate64(int fd, off64_t length) { return cut(fd, length); }

/* The disk itself is not asked: what a sync is for is judged from the log. */
static int synced(int fd) {
    int r;
    char full[PATH_MAX];
    if (!page || !page->armed) return 0;
    if (fails(SYNC, -1, NULL, 0)) return -1;
    DONE(0, absolute(fd, NULL, full); record(SYNC, full, NULL, 0, NULL, 0));
    return r;
}

int fsync(int fd) { return synced(fd); }
int fdatasync(int fd) { return synced(fd); }
