"""Pictures and maps: what is kept between changes, tiles, threads, tone and files."""
