/* engine/graph/disk_file.h: one result on disk: the file.
 *
 * A header, then the planes in the order of the node's channels, floats as they lie in memory, row
 * by row without gaps. Of a plane with one value everywhere that value is stored, and of a plane
 * that stands under several names the first. Header and planes each have an XXH3: a plane can be
 * read and checked alone. */
#ifndef LB_GRAPH_DISK_FILE_H
#define LB_GRAPH_DISK_FILE_H

#include "engine/base/hash.h"
#include "engine/graph/value.h"

typedef struct lb_disk_head {
    char magic[8];             /* "LBPLANE2": the digit is the version of all this */
    uint32_t order;            /* LB_DISK_ORDER as the writer's processor stores it */
    uint32_t count;            /* channels of the node */
    lb_key key;                /* of the result */
    lb_key names;              /* XXH3 over the node's channels' names */
    lb_box display, data, box; /* windows of the image; what the planes cover */
    double pixel_aspect;
    double seconds;                 /* that making it took */
    uint64_t channels;              /* bits of those that are here */
    uint64_t constant;              /* bits of those with one value everywhere */
    uint8_t same[LB_MAX_CHANNELS];  /* the channel whose plane this is: itself, or an earlier one */
    uint64_t sums[LB_MAX_CHANNELS]; /* XXH3 (its lower half) of each plane's stored bytes */
    lb_key self;                    /* XXH3 of the header with this field 0 */
} lb_disk_head;
#define LB_DISK_ORDER UINT32_C(0x01020304)

/* What there is to say of an image before it is written; sums and self are still 0. LB_INVALID: the
 * image does not hold `box` in one piece, or nothing of it is wanted. */
LB_MUST_CHECK lb_status lb_disk_head_make(lb_key key, const lb_desc *desc, lb_box box,
                                          uint64_t channels, const lb_image *image, double seconds,
                                          lb_disk_head *out);
uint64_t lb_disk_head_bytes(const lb_disk_head *head); /* of the whole file */
/* True if these are channels of the same node, with at least those pixels and channels. */
bool lb_disk_head_covers(const lb_disk_head *head, const lb_desc *desc, lb_box box,
                         uint64_t channels);

/* Writes a new file that is open for writing. LB_IO with errno; LB_MEMORY. */
LB_MUST_CHECK lb_status lb_disk_file_write(int fd, const lb_disk_head *head, const lb_desc *desc,
                                           const lb_image *image);

/* Reads and checks the header. LB_FORMAT: another version, another byte order, damaged, or the file
 * is not as long as the header says; LB_IO: could not be read, which says nothing about it. */
LB_MUST_CHECK lb_status lb_disk_file_head(int fd, lb_disk_head *out);
/* Reads and checks planes of `channels` (bits; of those that are here) into a new image. LB_FORMAT,
 * LB_IO, LB_MEMORY. */
LB_MUST_CHECK lb_status lb_disk_file_read(int fd, const lb_disk_head *head, const lb_desc *desc,
                                          uint64_t channels, lb_image **out);
/* Reads and checks all planes, keeping none. */
LB_MUST_CHECK lb_status lb_disk_file_check(int fd, const lb_disk_head *head);

#endif
