/* engine/scene/gltf_uri.c: what uris stand for. glTF 2.0, 2.8; RFC 3986; RFC 2397. */
#include <string.h>

#include "engine/base/file.h"
#include "engine/scene/gltf_read.h"

static int32_t hex_digit(char c)
{
    if (c >= '0' && c <= '9')
        return c - '0';
    if (c >= 'a' && c <= 'f')
        return c - 'a' + 10;
    return c >= 'A' && c <= 'F' ? c - 'A' + 10 : -1;
}

/* %41 becomes A; what is no escape stays. The result is never longer. False: there is a %00. */
static bool decode_percent(const char *in, char *out, size_t *count)
{
    size_t n = 0;

    for (; *in; in++, n++) {
        int32_t high = *in == '%' ? hex_digit(in[1]) : -1;
        int32_t low = high >= 0 ? hex_digit(in[2]) : -1;

        out[n] = *in;
        if (low >= 0) {
            out[n] = (char)(high * 16 + low);
            in += 2;
            if (out[n] == 0)
                return false;
        }
    }
    out[n] = 0;
    *count = n;
    return true;
}

/* RFC 3986, 3.1: a letter, then letters, digits, + - . and a colon. */
static bool has_scheme(const char *uri)
{
    size_t n = strspn(uri, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789+-.");

    return n > 0 && uri[n] == ':' && !strchr("0123456789+-.", uri[0]);
}

bool gltf_uri_is_data(const char *uri)
{
    return strncmp(uri, "data:", 5) == 0;
}

lb_status gltf_uri_path(const char *folder, const char *uri, char **out)
{
    size_t length = strlen(uri), count;
    char *name;

    *out = NULL;
    if (has_scheme(uri) || uri[0] == '/' || uri[0] == '\\')
        return LB_UNSUPPORTED;
    if (length == 0)
        return LB_FORMAT;
    if (!(name = lb_alloc(length + 1, 1)))
        return LB_MEMORY;
    if (!decode_percent(uri, name, &count)) {
        lb_free(name);
        return LB_FORMAT;
    }
    *out = lb_path_join(folder, name);
    /* Names that were never encoded, and separators of another system, are common enough. */
    if (*out && !lb_file_exists(*out)) {
        char *plain;

        memcpy(name, uri, length + 1);
        for (char *at = name; *at; at++)
            *at = *at == '\\' ? '/' : *at;
        if ((plain = lb_path_join(folder, name)) && lb_file_exists(plain)) {
            lb_free(*out);
            *out = plain;
        } else {
            lb_free(plain);
        }
    }
    lb_free(name);
    return *out ? LB_OK : LB_MEMORY;
}

static int32_t base64_digit(char c)
{
    if (c >= 'A' && c <= 'Z')
        return c - 'A';
    if (c >= 'a' && c <= 'z')
        return c - 'a' + 26;
    if (c >= '0' && c <= '9')
        return c - '0' + 52;
    return c == '+' ? 62 : c == '/' ? 63 : -1;
}

/* RFC 4648, 4. False: something else is in it, or it is cut. */
static bool decode_base64(const char *in, size_t length, uint8_t *out, size_t *count)
{
    size_t n = 0;
    uint32_t bits = 0;

    while (length > 0 && in[length - 1] == '=')
        length--;
    if (length % 4 == 1)
        return false;
    for (size_t i = 0; i < length; i++) {
        int32_t digit = base64_digit(in[i]);

        if (digit < 0)
            return false;
        bits = bits << 6 | (uint32_t)digit;
        if (i % 4 == 3) {
            out[n++] = (uint8_t)(bits >> 16);
            out[n++] = (uint8_t)(bits >> 8);
            out[n++] = (uint8_t)bits;
        }
    }
    if (length % 4 == 2)
        out[n++] = (uint8_t)(bits >> 4);
    if (length % 4 == 3) {
        out[n++] = (uint8_t)(bits >> 10);
        out[n++] = (uint8_t)(bits >> 2);
    }
    *count = n;
    return true;
}

lb_status gltf_uri_data(const char *uri, void **out, size_t *count)
{
    const char *comma = strchr(uri, ',');
    size_t length = comma ? strlen(comma + 1) : 0;
    bool is_good, is_base64;

    *out = NULL;
    *count = 0;
    if (!comma)
        return LB_FORMAT;
    is_base64 = comma - uri >= 12 && strncmp(comma - 7, ";base64", 7) == 0;
    if (!(*out = lb_alloc(length + 1, 1)))
        return LB_MEMORY;
    is_good = is_base64 ? decode_base64(comma + 1, length, *out, count)
                        : decode_percent(comma + 1, *out, count);
    if (!is_good) {
        lb_free(*out);
        *out = NULL;
        return LB_FORMAT;
    }
    return LB_OK;
}
