/* Makes one fsync or fdatasync of a process fail, as a dying disk would: the FAIL_AT-th. */
#include <errno.h>
#include <stdlib.h>
#include <sys/syscall.h>
#include <unistd.h>

static int fails(void) {
    static int calls = 0;
    const char *at = getenv("FAIL_AT");
    calls++;
    if (at == NULL || calls != atoi(at)) return 0;
    errno = EIO;
    return 1;
}

int fsync(int handle) { return fails() ? -1 : (int)syscall(SYS_fsync, handle); }
int fdatasync(int handle) { return fails() ? -1 : (int)syscall(SYS_fdatasync, handle); }
