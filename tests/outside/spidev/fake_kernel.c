/* Stands in for /dev/spidev0.0 under the library spidev, by LD_PRELOAD: notes every transfer.
 *
 * The kernel's rules, from memory of drivers/spi/spidev.c and spi.c, for a controller of 8-bit
 * words that has no lowest bit first and no loopback. MISO reads as 0.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <linux/spi/spidev.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/types.h>
#include <unistd.h>

enum { BUFSIZ_BYTES = 4096, FDS = 1024 };
static char is_ours[FDS];
static unsigned char mode, bits = 8;
static unsigned speed = 125000000;

static void note(const unsigned char *data, size_t size, unsigned hz, unsigned word)
{
	FILE *log = fopen(getenv("FAKE_LOG"), "a");
	fprintf(log, "%u %u %u ", hz, mode, word);
	for (size_t i = 0; i < size; i++)
		fprintf(log, "%02x", data ? data[i] : 0);
	fprintf(log, "\n");
	fclose(log);
}

static int fail(int number)
{
	errno = number;
	return -1;
}

static int opened(const char *path)
{
	int (*real)(const char *, int, ...) = dlsym(RTLD_NEXT, "open");
	if (strcmp(path, "/dev/spidev0.0"))
		return -2;
	int fd = real("/dev/null", O_RDWR);
	is_ours[fd] = 1;
	mode = 0, bits = 8, speed = 125000000;
	return fd;
}

#define OPEN(name) \
	int name(const char *path, int flags, ...) \
	{ \
		int (*real)(const char *, int, ...) = dlsym(RTLD_NEXT, #name); \
		va_list more; \
		va_start(more, flags); \
		int rights = va_arg(more, int); \
		va_end(more); \
		int fd = opened(path); \
		return fd == -2 ? real(path, flags, rights) : fd; \
	}
OPEN(open)
OPEN(open64)

static int is_fake(int fd)
{
	return fd >= 0 && fd < FDS && is_ours[fd];
}

int close(int fd)
{
	int (*real)(int) = dlsym(RTLD_NEXT, "close");
	if (is_fake(fd))
		is_ours[fd] = 0;
	return real(fd);
}

ssize_t write(int fd, const void *data, size_t size)
{
	ssize_t (*real)(int, const void *, size_t) = dlsym(RTLD_NEXT, "write");
	if (!is_fake(fd))
		return real(fd, data, size);
	if (size > BUFSIZ_BYTES)
		return fail(EMSGSIZE);
	note(data, size, speed, bits);
	return size;
}

ssize_t read(int fd, void *data, size_t size)
{
	ssize_t (*real)(int, void *, size_t) = dlsym(RTLD_NEXT, "read");
	if (!is_fake(fd))
		return real(fd, data, size);
	if (size > BUFSIZ_BYTES)
		return fail(EMSGSIZE);
	memset(data, 0, size);
	if (size)
		note(NULL, size, speed, bits);
	return size;
}

int ioctl(int fd, unsigned long request, ...)
{
	int (*real)(int, unsigned long, ...) = dlsym(RTLD_NEXT, "ioctl");
	va_list more;
	va_start(more, request);
	void *at = va_arg(more, void *);
	va_end(more);
	if (!is_fake(fd))
		return real(fd, request, at);
	switch (request) {
	case SPI_IOC_RD_MODE:
		*(unsigned char *)at = mode;
		return 0;
	case SPI_IOC_WR_MODE:
		if (*(unsigned char *)at & ~(SPI_CPHA | SPI_CPOL | SPI_CS_HIGH | SPI_3WIRE | SPI_NO_CS))
			return fail(EINVAL);
		mode = *(unsigned char *)at;
		return 0;
	case SPI_IOC_RD_BITS_PER_WORD:
		*(unsigned char *)at = bits;
		return 0;
	case SPI_IOC_WR_BITS_PER_WORD:
		if (*(unsigned char *)at && *(unsigned char *)at != 8)
			return fail(EINVAL);
		bits = 8;
		return 0;
	case SPI_IOC_RD_MAX_SPEED_HZ:
		*(unsigned *)at = speed;
		return 0;
	case SPI_IOC_WR_MAX_SPEED_HZ:
		if (!*(unsigned *)at)
			return fail(EINVAL);
		speed = *(unsigned *)at;
		return 0;
	case SPI_IOC_MESSAGE(1): {
		struct spi_ioc_transfer *one = at;
		if (one->len > BUFSIZ_BYTES)
			return fail(EMSGSIZE);
		if (one->bits_per_word && one->bits_per_word != 8)
			return fail(EINVAL);
		note((void *)(unsigned long)one->tx_buf, one->len, one->speed_hz ? one->speed_hz : speed,
		     one->bits_per_word ? one->bits_per_word : bits);
		memset((void *)(unsigned long)one->rx_buf, 0, one->len);
		return one->len;
	}
	}
	return fail(ENOTTY);
}
