# One static program in an image that holds nothing else: no shell, no package
# manager. Time zones are in the program, certificates are copied.
FROM golang:1.26-bookworm AS build
WORKDIR /src
COPY go.mod go.sum ./
RUN go mod download
COPY . .
RUN CGO_ENABLED=0 go build -o /out/toeboard ./cmd/toeboard \
 && mkdir -m 1777 /out/tmp

FROM scratch
COPY --from=build /etc/ssl/certs/ca-certificates.crt /etc/ssl/certs/ca-certificates.crt
COPY --from=build /out/ /
# Nobody, as a number, so that a host can check that it is not root.
USER 65534:65534
ENV TOEBOARD_LISTEN=0.0.0.0:7150
EXPOSE 7150
# DATABASE_URL must name a Postgres (14 or newer): the image holds none.
HEALTHCHECK --interval=30s --timeout=5s --start-period=30s --retries=3 CMD ["/toeboard", "health"]
ENTRYPOINT ["/toeboard"]
CMD ["serve"]
