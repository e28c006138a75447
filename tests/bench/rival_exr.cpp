// tests/bench/rival_exr.cpp: EXR by OpenEXR's C++ library, to and from memory.
#include "tests/bench/rivals.h"

#include <cstdlib>
#include <cstring>
#include <stdexcept>
#include <vector>

#include <OpenEXR/ImfChannelList.h>
#include <OpenEXR/ImfFrameBuffer.h>
#include <OpenEXR/ImfHeader.h>
#include <OpenEXR/ImfIO.h>
#include <OpenEXR/ImfInputFile.h>
#include <OpenEXR/ImfOutputFile.h>
#include <OpenEXR/ImfThreading.h>

using namespace OPENEXR_IMF_NAMESPACE;

namespace
{

class MemoryOut : public OStream
{
  public:
    MemoryOut() : OStream("memory")
    {
    }
    void write(const char c[], int n) override
    {
        if (at + static_cast<size_t>(n) > bytes.size())
            bytes.resize(at + static_cast<size_t>(n));
        std::memcpy(bytes.data() + at, c, static_cast<size_t>(n));
        at += static_cast<size_t>(n);
    }
    uint64_t tellp() override
    {
        return at;
    }
    void seekp(uint64_t pos) override
    {
        at = pos;
    }
    std::vector<char> bytes;

  private:
    size_t at = 0;
};

class MemoryIn : public IStream
{
  public:
    MemoryIn(const char *data, size_t size) : IStream("memory"), bytes(data), count(size)
    {
    }
    bool read(char c[], int n) override
    {
        if (at + static_cast<size_t>(n) > count)
            throw std::runtime_error("end of file");
        std::memcpy(c, bytes + at, static_cast<size_t>(n));
        at += static_cast<size_t>(n);
        return at < count;
    }
    uint64_t tellg() override
    {
        return at;
    }
    void seekg(uint64_t pos) override
    {
        at = pos;
    }

  private:
    const char *bytes;
    size_t count, at = 0;
};

const char *const names[4] = {"R", "G", "B", "A"};

void set_threads(int threads)
{
    // 0 in the library's sense: everything in the caller.
    if (globalThreadCount() != (threads > 1 ? threads : 0))
        setGlobalThreadCount(threads > 1 ? threads : 0);
}

} // namespace

int rival_exr_write(const unsigned short *halves, int width, int height, int level, int threads,
                    void **bytes, size_t *count)
try {
    Header header(width, height);
    FrameBuffer frame;
    MemoryOut out;

    set_threads(threads);
    header.compression() = ZIP_COMPRESSION;
    header.zipCompressionLevel() = level;
    for (int c = 0; c < 4; c++) {
        const unsigned short *plane = halves + static_cast<size_t>(c) * width * height;

        header.channels().insert(names[c], Channel(HALF));
        frame.insert(names[c],
                     Slice(HALF, reinterpret_cast<char *>(const_cast<unsigned short *>(plane)), 2,
                           static_cast<size_t>(width) * 2));
    }
    {
        OutputFile file(out, header);
        file.setFrameBuffer(frame);
        file.writePixels(height);
    }
    *bytes = std::malloc(out.bytes.size());
    if (!*bytes)
        return 1;
    std::memcpy(*bytes, out.bytes.data(), out.bytes.size());
    *count = out.bytes.size();
    return 0;
} catch (const std::exception &) {
    return 1;
}

int rival_exr_read(const void *bytes, size_t count, int width, int height, int threads,
                   float *planes)
try {
    FrameBuffer frame;
    MemoryIn in(static_cast<const char *>(bytes), count);

    set_threads(threads);
    InputFile file(in);
    for (int c = 0; c < 4; c++)
        frame.insert(
            names[c],
            Slice(FLOAT, reinterpret_cast<char *>(planes + static_cast<size_t>(c) * width * height),
                  4, static_cast<size_t>(width) * 4));
    file.setFrameBuffer(frame);
    file.readPixels(0, height - 1);
    return 0;
} catch (const std::exception &) {
    return 1;
}

void rival_exr_free(void *bytes)
{
    std::free(bytes);
}
