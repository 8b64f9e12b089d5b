//! Which addresses may be called: those of the public internet and no others.
//!
//! The ranges are those of IANA's special-purpose address registries (RFC 6890 and what updates it; from memory)
//! that are not globally reachable. Of IPv6 only global unicast is called at all, so that unique-local, link-local,
//! mapped, translated (NAT64) and whatever may be reserved one day need no row.

use std::net::{IpAddr, Ipv4Addr, Ipv6Addr};

/// Network and length of its prefix.
type Net4 = (Ipv4Addr, u32);
type Net6 = (Ipv6Addr, u32);

const CLOSED_4: [Net4; 15] = [
    (Ipv4Addr::new(0, 0, 0, 0), 8),       // this network
    (Ipv4Addr::new(10, 0, 0, 0), 8),      // private
    (Ipv4Addr::new(100, 64, 0, 0), 10),   // shared by carriers
    (Ipv4Addr::new(127, 0, 0, 0), 8),     // loopback
    (Ipv4Addr::new(169, 254, 0, 0), 16),  // link-local, and what clouds tell machines about themselves
    (Ipv4Addr::new(172, 16, 0, 0), 12),   // private
    (Ipv4Addr::new(192, 0, 0, 0), 24),    // protocol assignments
    (Ipv4Addr::new(192, 0, 2, 0), 24),    // documentation
    (Ipv4Addr::new(192, 88, 99, 0), 24),  // 6to4 relays, given up
    (Ipv4Addr::new(192, 168, 0, 0), 16),  // private
    (Ipv4Addr::new(198, 18, 0, 0), 15),   // benchmarks
    (Ipv4Addr::new(198, 51, 100, 0), 24), // documentation
    (Ipv4Addr::new(203, 0, 113, 0), 24),  // documentation
    (Ipv4Addr::new(224, 0, 0, 0), 4),     // multicast
    (Ipv4Addr::new(240, 0, 0, 0), 4),     // reserved, broadcast
];

const GLOBAL_UNICAST: Net6 = (Ipv6Addr::new(0x2000, 0, 0, 0, 0, 0, 0, 0), 3);

const CLOSED_6: [Net6; 4] = [
    (Ipv6Addr::new(0x2001, 0, 0, 0, 0, 0, 0, 0), 23), // protocol assignments, Teredo, ORCHID
    (Ipv6Addr::new(0x2001, 0xdb8, 0, 0, 0, 0, 0, 0), 32), // documentation
    (Ipv6Addr::new(0x2002, 0, 0, 0, 0, 0, 0, 0), 16), // 6to4: an IPv4 address inside
    (Ipv6Addr::new(0x3fff, 0, 0, 0, 0, 0, 0, 0), 20), // documentation
];

/// True for an address of the public internet.
pub fn is_public(address: IpAddr) -> bool {
    match address {
        IpAddr::V4(address) => !CLOSED_4.iter().any(|net| within_4(address, net)),
        IpAddr::V6(address) => {
            within_6(address, &GLOBAL_UNICAST) && !CLOSED_6.iter().any(|net| within_6(address, net))
        }
    }
}

fn within_4(address: Ipv4Addr, (net, length): &Net4) -> bool {
    (address.to_bits() ^ net.to_bits()).leading_zeros() >= *length
}

fn within_6(address: Ipv6Addr, (net, length): &Net6) -> bool {
    (address.to_bits() ^ net.to_bits()).leading_zeros() >= *length
}

#[cfg(test)]
mod tests {
    use super::is_public;

    #[test]
    fn only_the_public_internet_is_called() {
        let closed = [
            "0.0.0.0",
            "10.1.2.3",
            "100.64.0.1",
            "100.127.255.255",
            "127.0.0.1",
            "127.255.255.255",
            "169.254.169.254",
            "172.16.0.1",
            "172.31.255.255",
            "192.0.0.170",
            "192.168.1.1",
            "198.19.0.1",
            "203.0.113.7",
            "224.0.0.1",
            "255.255.255.255",
            "::",
            "::1",
            "::ffff:127.0.0.1",
            "::ffff:8.8.8.8",
            "64:ff9b::7f00:1",
            "64:ff9b:1::1",
            "fc00::1",
            "fd12:3456::1",
            "fe80::1",
            "ff02::1",
            "2001:db8::1",
            "2001:0:1::1",
            "2002:7f00:1::",
            "3fff::1",
            "5f00::1",
        ];
        // Neighbours of closed ranges, and name servers that anybody may ask.
        let open = [
            "1.1.1.1",
            "9.255.255.255",
            "11.0.0.0",
            "100.63.255.255",
            "100.128.0.0",
            "126.255.255.255",
            "128.0.0.1",
            "172.15.255.255",
            "172.32.0.0",
            "223.255.255.255",
            "2606:4700:4700::1111",
            "2a00:1450::1",
        ];
        for address in closed {
            assert!(!is_public(address.parse().expect(address)), "{address}");
        }
        for address in open {
            assert!(is_public(address.parse().expect(address)), "{address}");
        }
    }
}
