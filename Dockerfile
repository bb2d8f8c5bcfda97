# The app alone; its PostgreSQL is the other service of docker-compose.yml.
FROM rust:1-bookworm AS build
WORKDIR /src
COPY . .
RUN cargo build --locked --release --bin pourday

FROM debian:bookworm-slim
# The client programs are for back-up and restore.
RUN apt-get update \
    && apt-get install -y --no-install-recommends postgresql-client curl \
    && rm -rf /var/lib/apt/lists/* \
    && useradd --create-home pourday
COPY --from=build /src/target/release/pourday /usr/local/bin/pourday
USER pourday
EXPOSE 7373
HEALTHCHECK --interval=10s --timeout=3s --retries=5 CMD curl --fail --silent http://127.0.0.1:7373/healthy
CMD ["pourday", "serve", "--listen", "0.0.0.0:7373"]
